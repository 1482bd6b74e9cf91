"""A sense test that is logged with its visit: both photographs are kept as its evidence."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path

from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Surface
from fringe.archive.views.laid import as_laid
from fringe.archive.views.photographs import load_photograph
from fringe.archive.views.visit_request import VisitRequest
from fringe.errors import BadInput
from fringe.orders.options import StatedOptions
from fringe.orders.read_pair import SensePair, read_pair

INPUT = "sense_test"


def sense_test(
    surface: Surface, photos: Sequence[Path], request: VisitRequest, stated: StatedOptions
) -> SensePair | None:
    """Read the photograph of a visit, and the one after something was done, as a sense test.

    Returns
    -------
    SensePair or None
        None where no second photograph is given.

    Raises
    ------
    BadInput
        If what is said does not go together, or one of them is no photograph.
    Refused
        If one of them supports no reading.
    """
    after, change = request.sense_after, request.change
    if after is None:
        if change is not None:
            raise BadInput("--change: give the photograph after it as well, --sense-after PHOTO")
        return None
    if change is None:
        raise BadInput(
            "--sense-after: say what was done in between, as --change pressed-centre, lower-eye "
            "or 'lamp NAME2'"
        )
    if len(photos) != 1 or request.burst or request.replaces is not None:
        raise BadInput("--sense-after: goes with the one PHOTO that was taken before it")
    if stated.sense != "auto":
        raise BadInput("--sense-after tells the sense itself; leave --sense out")
    laid = as_laid(surface, request.aperture_mm, request.against)
    known = dataclasses.replace(
        stated,
        lamp=stated.lamp or surface.lamp,
        diameter_mm=laid.diameter_mm,
        plate_radius_mm=laid.plate_radius_mm,
        work=laid.form,
    )
    return read_pair(photos[0], after, change, known)


def with_told_sense(stated: StatedOptions, pair: SensePair | None) -> StatedOptions:
    """How the photograph is read, once a sense test has told where the contact is."""
    if pair is None or pair.reading.sense == "unknown":
        return stated
    return dataclasses.replace(stated, sense=pair.reading.sense)


def with_evidence(visit: Visit, request: VisitRequest, pair: SensePair | None) -> Visit:
    """A visit with the second photograph of its sense test, and what that told."""
    if pair is None or request.sense_after is None:
        return visit
    after = load_photograph(request.sense_after)
    told = {
        "after": len(visit.photographs) + 1,
        "change": request.change,
        "sense": pair.reading.sense,
        "reason": pair.reason,
    }
    readings = tuple(
        dataclasses.replace(
            one,
            reading=dataclasses.replace(one.reading, sense_source=pair.reading.sense_source),
            options={**one.options, INPUT: told},
        )
        if one.photographs
        else one
        for one in visit.readings
    )
    return dataclasses.replace(
        visit,
        readings=readings,
        photographs=(*visit.photographs, after),
        inputs={**visit.inputs, INPUT: told},
    )

"""A sense test that is logged with its visit: both photographs are kept as its evidence.

It may come later: a correction adds the second photograph to the one that its visit keeps.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path

from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Surface
from fringe.archive.views.correction import by_photograph, changed_options, visit_to_correct
from fringe.archive.views.laid import as_laid
from fringe.archive.views.photographs import load_photograph, loaded_photos
from fringe.archive.views.visit_request import VisitRequest
from fringe.errors import BadInput
from fringe.orders.options import StatedOptions
from fringe.orders.read_pair import SensePair, read_loaded_pair, read_pair

INPUT = "sense_test"


def sense_test(
    surface: Surface, photos: Sequence[Path], request: VisitRequest, stated: StatedOptions
) -> SensePair | None:
    """Read the photograph of a visit, and the one after something was done, as a sense test.

    In a correction the first one is that which the visit keeps, unless it is given anew.

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
    if request.burst or len(photos) != (0 if request.replaces and not photos else 1):
        raise BadInput("--sense-after: goes with the one PHOTO that was taken before it")
    if stated.sense != "auto":
        raise BadInput("--sense-after tells the sense itself; leave --sense out")
    if request.replaces is not None:
        return _added_later(surface, photos, request, stated, (after, change))
    laid = as_laid(surface, request.aperture_mm, request.against, stated.chamfer_mm)
    known = dataclasses.replace(
        stated,
        lamp=stated.lamp or surface.lamp,
        diameter_mm=laid.outside_diameter_mm,
        chamfer_mm=laid.chamfer_mm,
        plate_radius_mm=laid.plate_radius_mm,
        work=laid.form,
    )
    return read_pair(photos[0], after, change, known)


def _added_later(
    surface: Surface,
    photos: Sequence[Path],
    request: VisitRequest,
    stated: StatedOptions,
    test: tuple[Path, str],
) -> SensePair:
    """The sense test of a visit that is corrected, read as its photograph was."""
    assert surface.folder is not None
    assert request.replaces is not None
    base = visit_to_correct(surface.folder, request.replaces).base
    readings = by_photograph(base)
    if len(readings) != 1 or len(readings[0].photographs) != 1:
        raise BadInput(
            "--sense-after: the visit must keep one reading of one photograph, the one before it"
        )
    kept = base.visit.photographs[readings[0].photographs[0] - 1]
    before = load_photograph(photos[0]) if photos else kept
    options = changed_options(surface, request, stated, readings[0])
    options = dataclasses.replace(options, sense="auto")
    first, second = (loaded_photos([one])[0] for one in (before, load_photograph(test[0])))
    return read_loaded_pair(first, second, test[1], options)


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

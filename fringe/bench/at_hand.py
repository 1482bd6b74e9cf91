"""The visit at hand as it is logged, what is told of it, and how long it can be taken back."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence

from fringe.archive.store.session import LoggedReading, Photograph, Visit
from fringe.archive.store.surface import Surface
from fringe.archive.views.asked import check_asked, with_known_stage
from fringe.archive.views.log_request import visit_of
from fringe.archive.views.logged_visit import LoggedVisit
from fringe.archive.views.photographs import logged
from fringe.archive.views.visit_request import VisitRequest
from fringe.bench.settings import Settings
from fringe.bench.shots import Shot
from fringe.bench.taken import Taken
from fringe.bench.words import bench_words
from fringe.errors import BadInput
from fringe.judge.spherometer.compare import SagResult
from fringe.orders.options import StatedOptions
from fringe.units import TypedLength


def all_said(
    request: VisitRequest, shots: Sequence[Shot], taken: Taken, settings: Settings
) -> VisitRequest:
    """What is said of a visit, with the readings without a photograph and how the pieces lay."""
    whole = taken.onto(request)
    if not shots and not taken.by_eye:
        return whole
    places: tuple[tuple[TypedLength, TypedLength], ...] = ()
    if settings.aperture_mm is not None and any(shot.place_mm for shot in shots):
        if not all(shot.place_mm for shot in shots):
            raise BadInput("say of each photograph where the plate lay, or of none")
        alone = len(shots) == 1  # all frames of a film are one contact
        places = tuple(
            pair
            for shot in shots
            if shot.place_mm is not None
            for pair in [_lengths(shot.place_mm)] * (1 if alone else len(shot.photographs))
        )
    return dataclasses.replace(
        whole, against=settings.against, aperture_mm=settings.aperture_mm, place=places
    )


def _lengths(place_mm: tuple[float, float]) -> tuple[TypedLength, TypedLength]:
    across, down = (TypedLength(one, f"{one:.6g}mm") for one in place_mm)
    return across, down


def bench_visit(
    surface: Surface,
    visit_id: str,
    shots: Sequence[Shot],
    request: VisitRequest,
    stated: StatedOptions,
    undone: Collection[str] = (),
) -> tuple[Visit, SagResult | None]:
    """Put a visit together of what lies on the bench and what is said, as `fringe log` does.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder.
    visit_id : str
        Identity of the visit on the bench, kept with it.
    shots : sequence of Shot
        Photographs, each read or refused.
    request : VisitRequest
    stated : StatedOptions
        How they were taken.
    undone : collection of str
        Digests of photographs that are known to be in a visit that was taken back.

    Raises
    ------
    Asked, UnknownStage
        If something must be answered first.
    BadInput
        If something that is said makes no sense.
    """
    alone = len(shots) == 1 and bool(shots[0].others)
    known = dataclasses.replace(with_known_stage(surface, request), burst=alone)
    readings: list[LoggedReading] = []
    photographs: list[Photograph] = []
    for shot in shots:
        first = len(photographs) + 1
        photographs += shot.photographs
        numbers = tuple(range(first, len(photographs) + 1))
        if shot.reading is not None:
            assert shot.options is not None
            readings.append(logged(shot.reading, numbers, shot.options, burst=bool(shot.others)))
    fresh = [one for one in photographs if one.sha256 not in undone]
    check_asked(surface, (), known, fresh)
    made = (tuple(readings), tuple(photographs))
    visit, sagittas = visit_of(surface, (), known, stated, made=made)
    inputs = {
        **visit.inputs,
        "with": "fringe bench",
        "bench": visit_id,
        "arrived": [shot.taken.isoformat(timespec="seconds") for shot in shots],
    }
    return dataclasses.replace(visit, inputs=inputs), sagittas


def told_of(done: LoggedVisit) -> dict[str, object]:
    """What a device is told of a visit that was logged."""
    return {
        "visit": done.number,
        "session": done.path.stem,
        "surface": done.surface.name,
        "verdict": None if done.row is None else done.row.verdict,
        "next": "" if done.judged is None else bench_words(done.judged.next_step.text()),
        "problems": [bench_words(line) for line in (*done.warnings, *done.notes)],
    }

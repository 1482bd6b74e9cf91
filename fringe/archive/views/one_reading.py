"""A reading that is not logged, judged as the record of its surface would judge it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from fringe.archive.store.bench import bench_of
from fringe.archive.store.surface import Surface
from fringe.archive.views.photographs import instruments_used
from fringe.judge.progress import last_visit
from fringe.judge.state.visits import VisitRecord, VisitRow
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Verdict
from fringe.judge.uncertainty.sources import measured_of
from fringe.orders.reading import Reading


def reading_measured(surface: Surface, reading: Reading) -> Measured:
    """What a reading of the whole work on its plate measured, by the records of today."""
    instruments = instruments_used(surface, {"plate": surface.plate.name})
    return measured_of(reading, bench_of(surface, instruments))


def with_record(reading: Reading, measured: Measured) -> Reading:
    """The reading with the uncertainties that it is judged by."""
    power, step = measured.power, measured.radius_difference
    return replace(
        reading,
        power_u95_fringes=None if power is None else power.u95,
        radius_difference_u95_mm=None if step is None else step.u95,
    )


def judged_reading(surface: Surface, measured: Measured) -> tuple[VisitRow | None, Verdict | None]:
    """The row and the verdict of a visit that measured this alone."""
    visit = VisitRecord("", datetime.now().astimezone(), measured=(measured,))
    return last_visit([visit], surface.tolerance)

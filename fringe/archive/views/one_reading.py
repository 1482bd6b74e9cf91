"""A reading that is not logged, judged as the record of its surface would judge it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from fringe.archive.store.bench import bench_of, logged_measured
from fringe.archive.store.session import LoggedReading, Session
from fringe.archive.store.surface import Surface
from fringe.archive.views.photographs import instruments_used
from fringe.judge.progress import last_visit
from fringe.judge.state.visits import VisitRecord, VisitRow
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Verdict
from fringe.judge.uncertainty.sources import measured_of
from fringe.orders.options import ReadOptions
from fringe.orders.reading import Reading


def reading_measured(surface: Surface, reading: Reading, options: ReadOptions) -> Measured:
    """What a reading of the whole work on its plate measured, by the records of today."""
    instruments = instruments_used(surface, {"plate": surface.plate.name})
    return measured_of(reading, bench_of(surface, instruments, options=options.to_json()))


def with_record(reading: Reading, measured: Measured) -> Reading:
    """The reading with the uncertainties that it is judged by, to be shown.

    Its parts are the record's as well, the wavelength's among them.
    """
    power, step = measured.power, measured.radius_difference
    return replace(
        reading,
        power_u_parts={} if power is None else {s.what: abs(c) for s, c in power.parts},
        power_u95_fringes=None if power is None else power.u95,
        radius_difference_u95_mm=None if step is None else step.u95,
    )


def logged_with_record(logged: LoggedReading, session: Session) -> LoggedReading:
    """A logged reading with the uncertainties that the session's own records give it."""
    bench = bench_of(
        session.surface,
        session.visit.instruments,
        aperture_mm=logged.aperture_mm,
        against=logged.against,
        options=logged.options,
    )
    return replace(logged, reading=with_record(logged.reading, logged_measured(logged, bench)))


def judged_reading(surface: Surface, measured: Measured) -> tuple[VisitRow | None, Verdict | None]:
    """The row and the verdict of a visit that measured this alone."""
    visit = VisitRecord("", datetime.now().astimezone(), measured=(measured,))
    return last_visit([visit], surface.tolerance)

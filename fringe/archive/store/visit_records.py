"""From the summaries of sessions to the records that visits are judged by."""

from __future__ import annotations

from collections.abc import Iterable

from fringe.archive.store.session import (
    SessionSummary,
)
from fringe.judge.state.visits import VisitRecord
from fringe.units import times


def visit_records(summaries: Iterable[SessionSummary]) -> tuple[VisitRecord, ...]:
    """Take from summaries what the judging of visits needs.

    Contacts with pieces other than the plate say nothing of the surface's own tolerance, and
    stay out.
    """
    return tuple(
        VisitRecord(
            session_id=summary.session_id,
            when=summary.when,
            stage=summary.work.stage,
            minutes=summary.work.minutes,
            on_top=summary.work.on_top,
            measured=tuple(one for one in summary.measured if one.against is None),
            removed_um=times(summary.work.removed_mm, 1e3),
            pits=summary.work.pits,
        )
        for summary in summaries
    )

"""What a new session is: its name, its visit's number, its time, and what it corrects."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fringe.archive.store import hdf5, layout
from fringe.archive.store.claim import last_before, published
from fringe.archive.store.order import find_visit, highest_number
from fringe.archive.store.read import said_content
from fringe.archive.store.session import SessionSummary, Visit
from fringe.errors import BadInput
from fringe.files import random_suffix


@dataclass(frozen=True)
class Corrected:
    """The session that a new one corrects, and other latest ones of the visit that it settles."""

    session: SessionSummary
    also: tuple[str, ...]


def corrected_by(folder: Path, visit: Visit) -> Corrected | None:
    """What a visit that is to be logged corrects; None if nothing.

    Raises
    ------
    BadInput
        If there is no such visit or session.
    """
    if visit.replaces is None:
        return None
    found = find_visit(folder, visit.replaces)
    for one in found.sessions:
        if one.session_id == visit.replaces:  # as somebody saw it, whatever was logged since
            return Corrected(one, visit.also_replaces)
    return Corrected(found.current, tuple(one.session_id for one in found.latest[:-1]))


class NewSession:
    """A session that is about to be written.

    Parameters
    ----------
    folder : Path
        The surface's.
    visit : Visit
        What is to be written.
    corrected : Corrected or None
        From :func:`corrected_by`.
    clock : datetime
        The time now.
    """

    def __init__(
        self, folder: Path, visit: Visit, corrected: Corrected | None, clock: datetime
    ) -> None:
        self._folder, self._visit, self._corrected, self._clock = folder, visit, corrected, clock
        self._suffix = random_suffix()

    def identity(self, sequence: int, *, alone: bool) -> dict[str, Any]:
        """Attributes that tell it from all other sessions.

        Parameters
        ----------
        sequence : int
            Claimed for it.
        alone : bool
            Nobody else writes.
        """
        folder, corrected, utc = self._folder, self._corrected, self._clock.astimezone(UTC)
        highest = highest_number(folder, alone=alone)
        number = corrected.session.number if corrected else highest + 1
        session = corrected.session if corrected else None
        return {
            "session_id": f"{sequence:04d}_{utc:%Y%m%dT%H%M%SZ}_{self._suffix}",
            "sequence": sequence,
            "visit": number,
            "visits": max(number, highest),
            **_time(self._visit, session, self._clock),
            "logged_at": utc.isoformat(),
            "previous_session": last_before(folder, sequence),
            "seen_sessions": "\n".join(_heads(folder, sequence)) or None,
            "replaces": session and session.session_id,
            "also_replaces": "\n".join(corrected.also) if corrected else None,
            "struck": 1 if self._visit.struck else None,
        }


def _heads(folder: Path, sequence: int) -> Iterator[str]:
    """Sessions that are there and that no other tells of, each with the digest of its content.

    The last session tells of those before it, and so is all that is needed; those of earlier
    versions tell of none.
    """
    there = published(folder)
    for number in sorted((one for one in there if one < sequence), reverse=True):
        path = folder / f"{there[number]}{layout.SUFFIX}"
        digest = said_content(path)
        if digest is not None:
            yield f"{there[number]} {digest}"
        with suppress(BadInput), hdf5.opened(path) as file:
            if hdf5.text(file, "seen_sessions") is not None or hdf5.whole(file, "visits"):
                return


def _time(visit: Visit, corrected: SessionSummary | None, clock: datetime) -> dict[str, str]:
    """Time of the visit: as given, else that of the visit that is corrected, else the clock's."""
    if visit.when is not None:
        return {"when": visit.when.isoformat(), "when_source": "given"}
    if corrected is not None:
        source = "given" if corrected.when_given else "clock"
        return {"when": corrected.when.isoformat(), "when_source": source}
    return {"when": clock.isoformat(), "when_source": "clock"}

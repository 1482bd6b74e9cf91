"""Whether a surface's own spells say that one piece on top moves it the other way than practice."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fringe.judge.state.abrasives import Stage, stage

if TYPE_CHECKING:
    from fringe.judge.state.visits import VisitRow

# Work that is logged with one piece on top lowers power, with the other it raises it.
SIGN = {"work": -1.0, "tool": 1.0}
OTHER_PIECE = {"work": "tool", "tool": "work"}
# So many spells in a row must say it; one may be warmth, or a lap that went the other way.
_SPELLS = 2
# Change of power that warmth may make between two readings [fringe], and their sources
_WARMTH = 1.0
_OPTICAL = ("fringes", "eye")


def wrong_way(rows: Sequence[VisitRow], now: Stage, on_top: str) -> bool:
    """Whether the last spells of a stage with this piece on top went the other way.

    Parameters
    ----------
    rows : sequence of VisitRow
        Visits in their order.
    now : Stage
        The work.
    on_top : {'work', 'tool'}
        Which piece is the upper one.

    Returns
    -------
    bool
        True where the last two spells both moved power the other way, by more than readings and
        warmth explain, no spell with either piece went as practice has it, and those with the
        other piece have not done so all together: each by itself may be too short to tell.
    """
    changes = list(_changes(rows, now))
    mine = [change for change in changes if change.on_top == on_top]
    other = [change for change in changes if change.on_top == OTHER_PIECE[on_top]]
    return (
        len(mine) >= _SPELLS
        and all(change.way < 0 for change in mine[-_SPELLS:])
        and not any(change.way > 0 for change in changes)
        and math.fsum(change.fringes for change in other)
        <= max((change.u95 for change in other), default=0.0)
    )


@dataclass(frozen=True)
class _Change:
    """What one spell did to power, positive where it went as practice has it [fringe]."""

    on_top: str
    fringes: float
    u95: float

    @property
    def way(self) -> int:
        """+1 as practice has it, -1 not, 0 where readings and warmth explain as much."""
        if abs(self.fringes) <= self.u95 + _WARMTH:
            return 0
        return 1 if self.fringes > 0 else -1


def _changes(rows: Sequence[VisitRow], now: Stage) -> Iterator[_Change]:
    """Each spell of a stage, with one piece on top, between two readings of one kind."""
    before: VisitRow | None = None
    pieces: list[str | None] = []
    for row in rows:
        if row.stage or row.minutes:
            same = row.stage is None or stage(row.stage).key == now.key
            pieces.append(row.on_top if same else None)
        if row.power_fringes is None or row.sense == "unknown" or row.power_u95_fringes is None:
            continue
        piece = pieces[0] if len(pieces) == 1 else None
        if before is not None and piece is not None and _one_kind(before, row):
            change = row.power_fringes - (before.power_fringes or 0.0)
            u95 = math.hypot(before.power_u95_fringes or 0.0, row.power_u95_fringes)
            yield _Change(piece, SIGN[piece] * change, u95)
        before, pieces = row, []


def _one_kind(before: VisitRow, row: VisitRow) -> bool:
    """Whether both readings are of fringes, or both by one other means."""
    kinds = [any(one in (r.method or "") for one in _OPTICAL) for r in (before, row)]
    return kinds[0] == kinds[1]

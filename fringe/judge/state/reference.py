"""What a surface's power counts from: its plate, or the partner that it is made to.

Power is read against the piece that the work lies on, so only readings against one piece have a
common zero. A surface whose fringes were read on its plate is judged by these; its contacts with
a partner are evidence on the pair. One whose fringes were only read on a partner is made to that:
these readings are its own then.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from fringe.judge.state.visits import VisitRecord
from fringe.judge.tolerance.measured import Measured

SPHEROMETER = "spherometer"
# Standard uncertainty of the height of power that a partner differs by from the plate that a
# spherometer compares with [um]: ten fringes, what a spherometer brings the partner to (common
# practice, no source).
PARTNER_U_UM = 3.0
_NM_PER_UM = 1e3
Contacts = tuple[Measured, ...]


@dataclass(frozen=True)
class Referred:
    """Visits of a surface by what its power counts from.

    Attributes
    ----------
    partner : str or None
        The piece that it is made to; None: its plate.
    visits : tuple of VisitRecord
        As they were, but for what was measured: readings against that piece alone, as `own`.
    notes : tuple of str
        Which readings do not count, and why.
    last_elsewhere : (int, str) or None
        Number of the last visit and the piece that it was read on, where it was read, but on
        nothing that counts.
    """

    partner: str | None
    visits: tuple[VisitRecord, ...]
    notes: tuple[str, ...] = ()
    last_elsewhere: tuple[int, str] | None = None


def partner_of(visits: Sequence[VisitRecord], plate: str | None) -> str | None:
    """The piece that a surface is made to: the last one that its fringes were read against.

    None where fringes were read on its plate as well, or none at all.

    Parameters
    ----------
    visits : sequence of VisitRecord
        In their order.
    plate : str or None
        Name of the surface's plate; a contact may name it, too.
    """
    pieces = [
        _piece(one, plate)
        for visit in visits
        for one in visit.measured
        if one.source != SPHEROMETER
    ]
    return None if not pieces or None in pieces else pieces[-1]


def referred(
    visits: Sequence[VisitRecord],
    plate: str | None,
    *,
    partner_worked: datetime | None = None,
) -> Referred:
    """Keep of what was measured that which counts from one piece.

    Parameters
    ----------
    visits : sequence of VisitRecord
        In their order.
    plate : str or None
        Name of the surface's plate.
    partner_worked : datetime, optional
        When the partner was last worked: that moved the zero of the readings before.

    Returns
    -------
    Referred
        From the first contact with a partner on, a spherometer's comparison with the plate
        counts only at visits without fringes, with the partner's own difference in its
        uncertainty.
    """
    if all(one.against is None for visit in visits for one in visit.measured):
        return Referred(None, tuple(visits))
    partner = partner_of(visits, plate)
    kept: list[VisitRecord] = []
    moved: list[int] = []
    elsewhere: dict[str, list[int]] = {}
    met = False
    for place, visit in enumerate(visits, 1):
        number = visit.number or place
        fringes = [one for one in visit.measured if one.source != SPHEROMETER]
        for piece in dict.fromkeys(_piece(one, plate) for one in fringes):
            if piece is not None and piece != partner:
                elsewhere.setdefault(piece, []).append(number)
        counts = [one for one in fringes if _piece(one, plate) == partner]
        met = met or (partner is not None and bool(counts))
        if counts and partner_worked is not None and partner and visit.when < partner_worked:
            moved.append(number)
            counts = []
        gauged = [one for one in visit.measured if one.source == SPHEROMETER]
        if met:
            gauged = [] if fringes else [_against_partner(one) for one in gauged]
        own = [dataclasses.replace(one, against=None) for one in counts]
        kept.append(dataclasses.replace(visit, measured=(*own, *gauged)))
    notes = tuple(_notes(partner, moved, elsewhere))
    return Referred(partner, tuple(kept), notes, _last_elsewhere(visits, kept))


def _last_elsewhere(
    visits: Sequence[VisitRecord], kept: Sequence[VisitRecord]
) -> tuple[int, str] | None:
    """The last visit that worked or read, where only another piece was read at it."""
    for place in range(len(visits) - 1, -1, -1):
        visit = visits[place]
        if visit.measured and not kept[place].measured:
            pieces = [one.against for one in visit.measured if one.against is not None]
            return (visit.number or place + 1, pieces[-1]) if pieces else None
        if visit.measured or visit.work.worked:
            return None
    return None


def _piece(one: Measured, plate: str | None) -> str | None:
    """What a contact was with; None: the plate."""
    return None if one.against == plate else one.against


def _against_partner(one: Measured) -> Measured:
    """A comparison with the plate, as one with a partner that the plate's radius is close to."""
    if not one.wavelength_nm or one.power_u_fringes is None:
        return one
    u = PARTNER_U_UM * _NM_PER_UM / (one.wavelength_nm / 2)
    return dataclasses.replace(
        one,
        power_u_fringes=math.hypot(one.power_u_fringes, u),
        power_parts=(),
        radius_difference_mm=None,
        radius_difference_u_mm=None,
        radius_difference_parts=(),
    )


def _notes(partner: str | None, moved: Sequence[int], elsewhere: dict[str, list[int]]) -> list[str]:
    notes = []
    if partner is not None:
        notes.append(f"power is read against {partner}, the partner that it is made to")
    if moved:
        notes.append(f"{_visits(moved)} left out: {partner} was worked since")
    for piece, numbers in elsewhere.items():
        what = "which counts for the pair (`fringe pair`)" if partner is None else "left out"
        notes.append(f"{_visits(numbers)}: read on {piece}, {what}")
    return notes


def _visits(numbers: Sequence[int]) -> str:
    listed = ", ".join(map(str, numbers))
    return f"visit {listed}" if len(numbers) == 1 else f"visits {listed}"


@dataclass(frozen=True)
class Logged:
    """A piece of a pair with what was logged of it.

    Attributes
    ----------
    name : str
        Its name.
    plate : str or None
        Name of its plate, which may be the other piece.
    visits : sequence of VisitRecord
        In their order.
    """

    name: str
    plate: str | None
    visits: Sequence[VisitRecord]

    @property
    def last_worked(self) -> datetime | None:
        """When it was worked last; None: never."""
        return max((one.when for one in self.visits if one.work.worked), default=None)

    def on(self, other: str, since: datetime | None) -> Iterator[tuple[VisitRecord, Contacts]]:
        """Each visit, with its contacts with another piece since a time, as on a plate."""
        for visit in self.visits:
            read: Contacts = ()
            if since is None or visit.when >= since:
                read = tuple(
                    dataclasses.replace(one, against=None)
                    for one in visit.measured
                    if one.source != SPHEROMETER and (one.against or self.plate) == other
                )
            yield visit, read


def laid_together(one: Logged, other: Logged) -> tuple[VisitRecord, ...]:
    """Visits of one piece of a pair with what was read of it on the other, by time.

    A contact that was logged of the other piece is a visit without work; none counts from before
    the other piece was last worked, which moved the zero.

    Parameters
    ----------
    one, other : Logged
        The two.
    """
    since = other.last_worked
    rows = [dataclasses.replace(visit, measured=read) for visit, read in one.on(other.name, since)]
    for visit, read in other.on(one.name, since):
        if read:
            turned = tuple(map(_other_way, read))
            rows.append(VisitRecord(visit.session_id, visit.when, measured=turned))
    return tuple(sorted(rows, key=lambda row: row.when))


def _other_way(one: Measured) -> Measured:
    """A contact as the other piece has it: the same power, the radius difference reversed."""
    step = one.radius_difference_mm
    if step is None or one.sense == "unknown":
        return one
    return dataclasses.replace(one, radius_difference_mm=-step)

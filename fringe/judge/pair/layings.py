"""Layings of a pair's pieces: each photograph once, and those that contradict themselves."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fringe.errors import BadInput
from fringe.judge.pair.conflicts import Conflict
from fringe.judge.pair.contacts import Contact
from fringe.judge.state.combine import combine
from fringe.judge.state.same_photograph import first_known, opposite
from fringe.judge.tolerance.measured import Measured
from fringe.optics.lamps import Lamp
from fringe.quantity import Source, half_width, standard

# What contacts have in common is an unknown of the estimate, by its source, as the wavelength is.
_SHARED = ("plate_form", "plate_back", "temperature")
# Share of the variance of handling that is taken as common where nobody said. With all of it
# common in truth, 95 % intervals of many layings cover 91 % at least; with all of it each
# laying's own, they cover more than 95 % (both by the normal distribution).
_COMMON_VARIANCE = 0.75


@dataclass(frozen=True)
class Laying:
    """One piece laid on another at one visit, with what was read of it by one method.

    Attributes
    ----------
    label : str
        What and when, for the person.
    work, other : str
        Names of the two pieces; the visit is the work's.
    visit : int
        Number of the visit.
    diameter_mm : float
        Diameter of the aperture [mm].
    read : tuple of Measured
        The readings.
    lamp : Lamp or None
        In whose light.
    """

    label: str
    work: str
    other: str
    visit: int
    diameter_mm: float
    read: tuple[Measured, ...]
    lamp: Lamp | None = None

    @property
    def visit_text(self) -> str:
        """Which visit it is, as `visit 4 of convex 1`."""
        return f"visit {self.visit} of {self.work}"

    @property
    def pieces(self) -> frozenset[str]:
        """The two that touch: either may be logged as the work."""
        return frozenset((self.work, self.other))


@dataclass(frozen=True)
class Distinct:
    """Layings with each photograph once.

    Attributes
    ----------
    layings : tuple of Laying
        Those of which something is left.
    conflicts : tuple of Conflict
        Photographs that were logged as two things that cannot both be.
    notes : tuple of str
        Copies that were left out.
    """

    layings: tuple[Laying, ...]
    conflicts: tuple[Conflict, ...] = ()
    notes: tuple[str, ...] = ()


def distinct(layings: Sequence[Laying], before: Mapping[str, str]) -> Distinct:
    """Count each photograph once among all layings of a pair.

    Parameters
    ----------
    layings : sequence of Laying
        In their order.
    before : mapping
        From the digest of photographs that show the glass as it was before the last work to
        the visit that logged them, in words.
    """
    places: dict[str, list[tuple[Laying, Measured]]] = {}
    for laying in layings:
        for one in laying.read:
            if one.photograph:
                places.setdefault(one.photograph, []).append((laying, one))
    kept: dict[str, Measured | None] = {}
    conflicts: list[Conflict] = []
    notes: list[str] = []
    for digest, logged in places.items():
        conflict = _contradiction(logged)
        if digest in before:
            kept[digest] = None
            notes.append(
                f"{logged[0][0].visit_text}: left out, its photograph is that of "
                f"{before[digest]}, before the last work"
            )
        elif conflict is not None:
            kept[digest] = None
            conflicts.append(conflict)
        else:
            kept[digest] = first_known([one for _, one in logged])
            notes += _copies(logged, kept[digest])
    rest = []
    for laying in layings:
        read = tuple(m for m in laying.read if not m.photograph or m is kept[m.photograph])
        if read:
            rest.append(replace(laying, read=read))
    return Distinct(tuple(rest), tuple(conflicts), tuple(dict.fromkeys(notes)))


def _contradiction(logged: Sequence[tuple[Laying, Measured]]) -> Conflict | None:
    """What one photograph cannot be at once, in words; None where it is one thing."""
    if opposite([one for _, one in logged]):
        how = [
            (laying, f"with its contact at the {one.sense}")
            for laying, one in logged
            if one.sense != "unknown"
        ]
    elif len({laying.pieces for laying, _ in logged}) > 1:
        how = [(laying, f"as {laying.work} on {laying.other}") for laying, _ in logged]
    else:
        return None
    said = list(dict.fromkeys(f"{what} ({laying.visit_text})" for laying, what in how))
    return Conflict(
        "photograph",
        f"one photograph is logged {' and '.join(said)}: it counts for neither",
        tuple(dict.fromkeys(laying.label for laying, _ in how)),
        tuple(dict.fromkeys((laying.work, laying.visit) for laying, _ in how)),
    )


def _copies(logged: Sequence[tuple[Laying, Measured]], kept: Measured | None) -> list[str]:
    if len(logged) == 1:
        return []
    source = next(laying for laying, one in logged if one is kept)
    others = dict.fromkeys(laying.visit_text for laying, one in logged if one is not kept)
    return [
        f"{text}: its photograph is that of {source.visit_text}, and counts once" for text in others
    ]


@dataclass(frozen=True)
class Handling:
    """What each contact errs by besides its reading: temperature, form that no record tells.

    Attributes
    ----------
    common_fringes : float
        Standard uncertainty that all contacts of the same two pieces share [fringe].
    own_fringes : float
        That of each laying by itself [fringe].
    """

    common_fringes: float = 0.0
    own_fringes: float = 0.0

    @staticmethod
    def of(contact_u_fringes: float, common_u_fringes: float | None = None) -> Handling:
        """Split it: as said, or else three quarters of its variance common."""
        common = common_u_fringes
        if common is None:
            common = math.sqrt(_COMMON_VARIANCE) * contact_u_fringes
        if not 0 <= common <= contact_u_fringes:
            raise BadInput(
                f"--contact-common-u: {common:g} fringes are no part of the "
                f"{contact_u_fringes:g} of --contact-u"
            )
        return Handling(common, math.sqrt(contact_u_fringes**2 - common**2))


def contacts_of(
    layings: Sequence[Laying], handling: Handling
) -> tuple[tuple[Contact, ...], tuple[str, ...]]:
    """Evidence of layings, with what they share by its sources; and what was left out, and why."""
    made, notes = [], []
    for one in layings:
        mean = combine(one.read)
        if mean.power_fringes is None or not mean.power_u_fringes or not mean.wavelength_nm:
            continue
        if mean.sense == "unknown":
            notes.append(f"{one.label}: left out, where the contact was is not known")
            continue
        shared = [part for part in mean.power_parts if part[0].what in _SHARED]
        if handling.common_fringes:
            pieces = " and ".join(sorted(one.pieces))
            shared.append((Source("handling", pieces), handling.common_fringes))
        made.append(
            Contact(
                one.label,
                one.work,
                one.other,
                mean.power_fringes,
                math.hypot(_own_u(mean), handling.own_fringes),
                one.diameter_mm,
                mean.wavelength_nm,
                one.lamp.u_wavelength_nm if one.lamp else 0.0,
                one.lamp.name if one.lamp else "",
                shared=tuple(shared),
                visit=one.visit,
            )
        )
    return tuple(made), tuple(notes)


def _own_u(one: Measured) -> float:
    """Standard uncertainty that is this contact's alone, widened where few degrees stand behind.

    Few degrees of freedom count as a wider normal distribution.
    """
    power = one.power
    own = 0.0 if power is None else power.without("wavelength", *_SHARED).u
    return standard(half_width(own, one.dof))

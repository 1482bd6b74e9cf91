"""A pair with all evidence on it: the estimate, how well it must match, and what to do next."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from fringe.archive.instruments import find_lamp
from fringe.archive.store.surface import E_LINE_NM, Surface
from fringe.archive.views.made_to import visits_made_to
from fringe.archive.views.pair_evidence import PairRecord, load_pair, pair_record
from fringe.archive.views.pair_steps import piece_steps
from fringe.archive.views.proof import Tell
from fringe.errors import BadInput
from fringe.judge.pair.match import Pair, match
from fringe.judge.pair.next_step import PairStep, next_step
from fringe.judge.tolerance.system import load_system, system_tolerance
from fringe.judge.tolerance.verdict import Tolerance
from fringe.judge.uncertainty.evidence import to_json as evidence_json
from fringe.quantity import half_width

RULE = "guard95"
CONTACT_U_FRINGES = 0.05


@dataclass(frozen=True)
class MatchLimits:
    """How well a pair must match, as it is said; what is not said is taken from the records.

    Attributes
    ----------
    system : Path or None
        Of the system that the pair is for.
    tolerance_power_fringes, tolerance_irregularity_fringes : float or None
        Power and irregularity allowed between the two [fringe].
    tolerance_radius_mm : float or None
        Mismatch of the radii allowed [mm].
    rule : str or None
        Decision rule.
    contact_u_fringes : float
        Of each contact besides its reading: temperature, plate's form [fringe].
    contact_common_u_fringes : float or None
        The part of it that all contacts of the same two pieces have in common; None takes
        three quarters of its variance [fringe].
    lamp : str or None
        That fringes are counted in.
    """

    system: Path | None = None
    tolerance_power_fringes: float | None = None
    tolerance_radius_mm: float | None = None
    tolerance_irregularity_fringes: float | None = None
    rule: str | None = None
    contact_u_fringes: float = CONTACT_U_FRINGES
    contact_common_u_fringes: float | None = None
    lamp: str | None = None

    @property
    def first_option(self) -> str | None:
        """The first of them that is said, as the command line calls it; None without any."""
        default = MatchLimits()
        for field in dataclasses.fields(self):
            if getattr(self, field.name) != getattr(default, field.name):
                words = field.name.removesuffix("_fringes").removesuffix("_mm")
                return f"--{words.replace('_', '-')}"
        return None

    def wavelength_nm(self, convex: Surface, concave: Surface) -> float:
        """Wavelength that fringes are counted in [nm]."""
        if self.lamp is not None:
            folder = concave.folder
            return find_lamp(self.lamp, None if folder is None else folder.parent).wavelength_nm
        own = concave.tolerance.wavelength_nm or convex.tolerance.wavelength_nm
        return own or E_LINE_NM

    def tolerance(self, convex: Surface, concave: Surface) -> Tolerance | None:
        """What the match must keep: by the system, as said, or by the piece made on the other.

        Raises
        ------
        BadInput
            If two of these are said, or the system names no pair.
        """
        said = Tolerance(
            self.tolerance_power_fringes,
            self.tolerance_irregularity_fringes,
            self.tolerance_radius_mm,
            wavelength_nm=self.wavelength_nm(convex, concave),
            rule=self.rule or RULE,
        )
        if self.system is None:
            return said if said.limits_anything else _own(convex, concave, self.rule)
        if said.limits_anything:
            raise BadInput("--system brings the tolerance; leave the --tolerance options out")
        allowed = system_tolerance(load_system(self.system), said.wavelength_nm)
        if allowed.match is None:
            raise BadInput(f"{self.system}: it names no pair that must match")
        # the radius, since the system's apertures need not be those that were tested
        return Tolerance(radius_difference_mm=allowed.match.radius_mm, rule=said.rule)


@dataclass(frozen=True)
class JudgedPair:
    """A pair with the evidence on it, the estimate, and what to do next."""

    convex: Surface
    concave: Surface
    record: PairRecord
    pair: Pair
    step: PairStep

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe pair --json`, without the picture's."""
        found, record = self.pair, self.record
        return {
            "convex": _piece_json(found, "convex"),
            "concave": _piece_json(found, "concave"),
            "correlation": found.correlation,
            "mismatch_mm": found.mismatch_mm,
            "mismatch_u95_mm": half_width(found.u_mismatch_mm),
            "power_fringes": found.power_fringes,
            "power_u95_fringes": half_width(found.u_power_fringes),
            "diameter_mm": found.diameter_mm,
            "wavelength_nm": found.wavelength_nm,
            "irregularity_fringes": record.irregularity and record.irregularity[0],
            "verdict": found.verdict and found.verdict.to_json(),
            "next_step": self.step.to_json(),
            **evidence_json(found.estimate),
            "conflicts": [one.to_json() for one in found.conflicts],
            "zones": {name: one.to_json() for name, one in record.zones.items()},
            "notes": [*found.notes, *record.notes],
        }


def judged_pair_by_name(
    convex: str,
    concave: str,
    limits: MatchLimits,
    *,
    proven: bool = False,
    tell: Tell | None = None,
) -> JudgedPair:
    """Estimate a pair of two surfaces, ``ARCHIVE/NAME`` each in either order; see `judged_pair`."""
    return judged_pair(*load_pair(convex, concave), limits, proven=proven, tell=tell)


def judged_pair(
    one: Surface,
    other: Surface,
    limits: MatchLimits | None = None,
    *,
    proven: bool = False,
    tell: Tell | None = None,
) -> JudgedPair:
    """Estimate a pair from all evidence that its archive holds on the two.

    Parameters
    ----------
    one, other : Surface
        A convex and a concave, in either order.
    limits : MatchLimits, optional
        How well they must match.
    proven : bool
        Open and prove every session of both, for a report.
    tell : callable, optional
        Told how many of them are done.

    Raises
    ------
    BadInput
        If the two are no pair, nothing was measured, or a limit makes no sense.
    """
    limits = limits or MatchLimits()
    convex, concave = (one, other) if one.form == "convex" else (other, one)
    if limits.contact_u_fringes < 0:
        raise BadInput("--contact-u: an uncertainty cannot be negative")
    record = pair_record(
        convex,
        concave,
        contact_u_fringes=limits.contact_u_fringes,
        contact_common_u_fringes=limits.contact_common_u_fringes,
        proven=proven,
        tell=tell,
    )
    tolerance = limits.tolerance(convex, concave)
    found = match(
        record.convex,
        record.concave,
        record.plates,
        record.contacts,
        record.sagittas,
        wavelength_nm=limits.wavelength_nm(convex, concave),
        tolerance=tolerance,
        irregularity=record.irregularity,
        conflicts=record.conflicts,
    )
    pieces = partial(piece_steps, convex, concave, record, found, tolerance or Tolerance())
    return JudgedPair(convex, concave, record, found, next_step(found, pieces))


def _piece_json(found: Pair, role: str) -> dict[str, object]:
    piece = found.convex if role == "convex" else found.concave
    radius, u = found.radius(piece)
    return {
        "name": piece.name,
        "radius_mm": radius,
        "radius_u95_mm": half_width(u),
        "nominal_mm": piece.radius_mm,
    }


def _own(convex: Surface, concave: Surface, rule: str | None) -> Tolerance | None:
    """Tolerance on record of the piece that is made to the other one: it is of this contact.

    The other one is its plate by the record, or all that its fringes were read on.
    """
    both = ((convex, concave), (concave, convex))
    for told in (_is_plate, _is_partner):
        for one, other in both:
            if one.tolerance.limits_anything and told(one, other):
                return dataclasses.replace(one.tolerance, rule=rule or one.tolerance.rule)
    return None


def _is_plate(one: Surface, other: Surface) -> bool:
    return one.plate.name == other.name


def _is_partner(one: Surface, other: Surface) -> bool:
    return one.folder is not None and visits_made_to(one).partner == other.name

"""Do a convex and a concave match: both radii and their mismatch, from all evidence at once.

Evidence is contact with a plate, contact with each other, the spherometer, and certificates.
Contact tells a difference of two radii, and a certificate one of them; the spherometer tells
each through its ring, which all its readings share. What is shared is an unknown of its own,
so the mismatch of two pieces that hang on one plate does not inherit that plate's uncertainty.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fringe.errors import BadInput
from fringe.judge.pair.conflicts import Conflict, conflicts_of
from fringe.judge.pair.contacts import Contact, Piece, Sagittas
from fringe.judge.pair.radii import (
    ANY_RADIUS,
    PLAIN_CERTIFICATE,
    add_contacts,
    contact_power,
    itself,
    piece_named,
    radii,
    radius_unknown,
    share_once,
)
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Tolerance, Verdict, surface_verdict
from fringe.judge.uncertainty.evidence import (
    Estimate,
    Evidence,
    Unknown,
    estimate,
    estimates_without,
)
from fringe.optics.spherometer import (
    contact_from_radius_mm,
    reading_from_radius_mm,
)

UM_PER_MM = 1e3
# A ring's size without an uncertainty, relative (ours, no source)
_PLAIN_SIZE = 0.01


@dataclass(frozen=True)
class Pair:
    """A convex and a concave, and how well they match.

    Attributes
    ----------
    convex, concave : Piece
        The two.
    estimate : Estimate
        Of all radii; the names of the unknowns are `radius NAME`.
    mismatch_mm, u_mismatch_mm : float
        R_concave - R_convex and its standard uncertainty [mm].
    power_fringes, u_power_fringes : float
        Power that they would show laid together, over `diameter_mm` [fringe].
    diameter_mm, wavelength_nm : float
        The smaller of the two apertures [mm], and what fringes are counted in [nm].
    verdict : Verdict or None
        On the mismatch; None without a tolerance.
    notes : tuple of str
        What the person should know.
    conflicts : tuple of Conflict
        What contradicts what: photographs logged as two things, and pieces of evidence.
    """

    convex: Piece
    concave: Piece
    estimate: Estimate = field(repr=False)
    mismatch_mm: float
    u_mismatch_mm: float
    power_fringes: float
    u_power_fringes: float
    diameter_mm: float
    wavelength_nm: float
    verdict: Verdict | None = None
    notes: tuple[str, ...] = ()
    conflicts: tuple[Conflict, ...] = ()

    def radius(self, piece: Piece) -> tuple[float, float]:
        """Radius of one of the two and its standard uncertainty [mm]."""
        return self.estimate.value(radius_unknown(piece.name)), self.estimate.u(
            radius_unknown(piece.name)
        )

    @property
    def correlation(self) -> float:
        """Correlation coefficient of the two radii."""
        return self.estimate.correlation(
            radius_unknown(self.convex.name), radius_unknown(self.concave.name)
        )


def match(
    convex: Piece,
    concave: Piece,
    plates: Sequence[Piece],
    contacts: Sequence[Contact],
    sagittas: Sequence[Sagittas],
    *,
    wavelength_nm: float,
    tolerance: Tolerance | None = None,
    irregularity: tuple[float, float | None] | None = None,
    conflicts: Sequence[Conflict] = (),
) -> Pair:
    """Estimate both radii and the mismatch of a pair.

    Parameters
    ----------
    convex, concave : Piece
        The two pieces.
    plates : sequence of Piece
        Every other piece that the evidence names.
    contacts, sagittas : sequence of Contact, sequence of Sagittas
        The evidence; each as the glass is now.
    wavelength_nm : float
        To count fringes in [nm].
    tolerance : Tolerance, optional
        On the match.
    irregularity : (float, float or None), optional
        Irregularity of the contact with each other and its standard uncertainty [fringe].
    conflicts : sequence of Conflict, optional
        Evidence that was left out because it contradicts itself; nothing is proven beside it.

    Returns
    -------
    Pair

    Raises
    ------
    BadInput
        If nothing ties the two together, or the evidence names a piece that is not given.
    """
    pieces = {one.name: one for one in (convex, concave, *plates)}
    if len(pieces) < 2 + len(plates):
        raise BadInput("pair: two pieces have the same name")
    if not contacts and not sagittas:
        raise BadInput(_nothing_text(conflicts))
    unknowns, evidence = radii(pieces, [convex, concave, *plates])
    add_contacts(unknowns, evidence, contacts, pieces)
    _add_sagittas(unknowns, evidence, sagittas, pieces)
    found = estimate(unknowns, evidence)
    diameter = min(one.diameter_mm or math.inf for one in (convex, concave))
    asked = _Asked(convex, concave, diameter, wavelength_nm, tolerance, irregularity)
    step, u_step = asked.mismatch(found)
    power, u_power = asked.power(found)
    verdict, notes = _verdict(asked, unknowns, evidence, found)
    if conflicts and verdict is not None:  # what contradicts itself proves nothing
        verdict = dataclasses.replace(verdict, state="unproven", reason=conflicts[0].text)
    return Pair(
        convex,
        concave,
        found,
        step,
        u_step,
        power,
        u_power,
        diameter,
        wavelength_nm,
        verdict,
        (*(one.text for one in conflicts), *notes, *_notes(plates, u_step, convex)),
        (*conflicts, *conflicts_of(found)),
    )


@dataclass(frozen=True)
class _Asked:
    """What is asked of an estimate of a pair."""

    convex: Piece
    concave: Piece
    diameter_mm: float
    wavelength_nm: float
    tolerance: Tolerance | None
    irregularity: tuple[float, float | None] | None

    def mismatch(self, found: Estimate) -> tuple[float, float]:
        """R_concave - R_convex and its standard uncertainty [mm]."""
        convex, concave = radius_unknown(self.convex.name), radius_unknown(self.concave.name)
        return found.of(lambda x: x[concave] - x[convex])

    def power(self, found: Estimate) -> tuple[float, float]:
        """Power of the two laid together and its standard uncertainty [fringe]."""
        return found.of(
            lambda x: contact_power(
                x, self.concave, self.convex.name, self.diameter_mm, self.wavelength_nm
            )
        )

    def verdict(self, found: Estimate) -> Verdict | None:
        """Verdict on the match, as if all evidence held; None without a tolerance."""
        if self.tolerance is None:
            return None
        (power, u_power), (step, u_step) = self.power(found), self.mismatch(found)
        irregularity, u_irregularity = self.irregularity or (None, None)
        measured = Measured(
            power_fringes=power,
            power_u_fringes=u_power,
            sense="centre" if power >= 0 else "edge",
            irregularity_fringes=irregularity,
            irregularity_u_fringes=u_irregularity,
            radius_difference_mm=step,
            radius_difference_u_mm=u_step,
            wavelength_nm=self.wavelength_nm,
        )
        return surface_verdict(measured, self.tolerance)


def _add_sagittas(
    unknowns: list[Unknown],
    evidence: list[Evidence],
    sagittas: Sequence[Sagittas],
    pieces: Mapping[str, Piece],
) -> None:
    for one in sagittas:
        work, plate = piece_named(pieces, one.work), piece_named(pieces, one.plate)
        sizes = _sizes(unknowns, evidence, one, plate)
        zero = f"zero of {one.label}, {one.work}"
        if one.u_zero_um:
            share_once(unknowns, evidence, zero, one.u_zero_um)
        ball = one.spherometer.ball_radius_mm if one.spherometer else 0.0
        for piece, read, u, way in (
            (work, one.work_um, one.u_work_um, one.ways[0]),
            (plate, one.plate_um, one.u_plate_um, one.ways[1]),
        ):
            model = _sagitta_model(piece, sizes, ball, zero if one.u_zero_um else None, way)
            label = f"{one.label}, {piece.name}"
            evidence.append(Evidence(label, read, u, model, "um", "spherometer"))


def _sizes(
    unknowns: list[Unknown], evidence: list[Evidence], one: Sagittas, plate: Piece
) -> dict[str, str]:
    """Names of the unknown contact radii by form of the piece, made where they are new."""
    instrument = one.instrument or "spherometer without record"
    gauge = one.spherometer
    if gauge is None:
        contact = contact_from_radius_mm(plate.radius_mm, one.plate_um / UM_PER_MM, plate.form)
        given, kind, u = {"convex": contact, "concave": contact}, "assumed", 0.2 * contact
    else:
        given = {form: gauge.contact_mm(form) for form in ("convex", "concave")}
        kind = "certificate" if gauge.u_contact_mm else "assumed"
        u = gauge.u_contact_mm or _PLAIN_SIZE * given["convex"]
    if given["convex"] == given["concave"]:
        names = dict.fromkeys(("convex", "concave"), f"ring of {instrument}")
    else:
        names = {"convex": f"inner edge of {instrument}", "concave": f"outer edge of {instrument}"}
    known = {each.name for each in unknowns}
    for form, name in names.items():
        if name not in known:
            known.add(name)
            unknowns.append(Unknown(name, given[form], 1e-3 * given[form]))
            evidence.append(Evidence(name, given[form], u, itself(name), "mm", kind))
    return names


def _sagitta_model(
    piece: Piece, sizes: Mapping[str, str], ball_mm: float, zero: str | None, way: float
) -> Any:
    def model(x: Mapping[str, float]) -> float:
        sagitta = reading_from_radius_mm(
            x[radius_unknown(piece.name)], x[sizes[piece.form]], piece.form, ball_mm
        )
        return UM_PER_MM * sagitta + (way * x[zero] if zero else 0.0)

    return model


def _verdict(
    asked: _Asked, unknowns: Sequence[Unknown], evidence: Sequence[Evidence], found: Estimate
) -> tuple[Verdict | None, tuple[str, ...]]:
    """Verdict, and the contradictions; proven only if it stands whichever piece is wrong."""
    judged = asked.verdict(found)
    if not found.contradictions or judged is None:
        return judged, found.contradictions
    without = []
    for one in estimates_without(unknowns, evidence, found.suspects):
        try:
            without.append(None if one is None else asked.verdict(one))
        except BadInput:  # radii that no pair of this aperture has
            without.append(None)
    states = {None if one is None else one.state for one in without}
    if len(states) == 1 and None not in states and without[0] is not None:
        note = f"{found.contradictions[0]}; the verdict does not hang on that"
        return without[0], (note,)
    reason = found.contradictions[0]
    return dataclasses.replace(judged, state="unproven", reason=reason), found.contradictions


def _nothing_text(conflicts: Sequence[Conflict]) -> str:
    if conflicts:
        return f"pair: {conflicts[0].text}, and nothing else was read of the two"
    return "pair: neither contact nor spherometer tells anything of these two yet"


def _notes(plates: Sequence[Piece], u_step: float, convex: Piece) -> tuple[str, ...]:
    notes = []
    for plate in plates:
        if plate.certified_mm is not None and not plate.u_certified_mm:
            notes.append(
                f"the plate {plate.name} has a radius without uncertainty; "
                f"{100 * PLAIN_CERTIFICATE:g} % is taken"
            )
    if u_step > 0.5 * ANY_RADIUS * convex.radius_mm:
        notes.append(
            "nothing ties these two together: lay them on each other, or both on known plates"
        )
    return tuple(notes)

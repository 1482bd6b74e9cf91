"""Radii of plates from all that is known of them at once.

A contact ties two plates, and a spherometer all that it was laid on: its circle, its balls and
the scale of its gauge are unknowns that all its readings share. So they count once, and no number
of readings averages them away (JCGM 100:2008, 5.2 and F.1.2.3: correlated inputs).

What a record says of a spherometer's single reading "that repeating does not better" is taken in
two ways, each on its careful side: as one error of that gauge on that plate, common to all visits,
for the radius and its uncertainty; and as each visit's own besides, for whether all agree.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from fringe.judge.pair.contacts import Contact, Piece
from fringe.judge.pair.radii import add_contacts, itself, radii, radius_unknown, share_once
from fringe.judge.plates.evidence import (
    UM_PER_MM,
    PlateCertificate,
    PlateSagitta,
    Scatter,
    standing,
)
from fringe.judge.uncertainty.evidence import (
    Estimate,
    Evidence,
    Model,
    Unknown,
    estimate,
    estimates_without,
)
from fringe.optics.spherometer import reading_from_radius_mm

# A circle of feet without an uncertainty, relative (ours, no source)
_PLAIN_SIZE = 0.01
# A radius known no better than this, relative, is not known (ours, no source)
_NOTHING = 0.04


@dataclass(frozen=True)
class PlateRadii:
    """Radii of plates that hang together, and how what tells them does.

    Attributes
    ----------
    plates, certificates, sagittas, contacts
        As of :func:`plate_radii`, certificates that count alone.
    estimate : Estimate
        Of the radii; the unknowns are `radius NAME`.
    """

    plates: tuple[Piece, ...]
    certificates: tuple[PlateCertificate, ...]
    sagittas: tuple[PlateSagitta, ...]
    contacts: tuple[Contact, ...]
    estimate: Estimate

    @cached_property
    def held(self) -> Estimate:
        """The same evidence held against each other."""
        evidence = (self.plates, self.certificates, self.sagittas, self.contacts)
        return _estimate(*evidence, own=True)

    @property
    def birge_ratio(self) -> float:
        """By how much all uncertainties are widened; 1 where the evidence holds together."""
        return self.held.birge_ratio

    def radius(self, name: str) -> tuple[float, float]:
        """Radius of a plate and its standard uncertainty [mm].

        Where the evidence contradicts itself, that is widened by the Birge ratio, and at least
        to how far the radius moves without any one piece that may be the wrong one: the ratio
        alone hardly widens what rests on a single piece that claims to know best.
        """
        value, u = self._stated(name)
        there = [one.value(radius_unknown(name)) for one in self._without]
        return value, max(u * self.birge_ratio, *(abs(one - value) for one in there), 0.0)

    def widened(self, name: str) -> float:
        """By how much the uncertainty of that plate's radius is widened in all."""
        return self.radius(name)[1] / self._stated(name)[1]

    @cached_property
    def _without(self) -> tuple[Estimate, ...]:
        """All again, each time without a piece of evidence that may be the wrong one."""
        one = self.estimate
        unknowns = [Unknown(name, one.value(name), one.u(name)) for name in one.names]
        pieces = [each.evidence for each in one.judged]
        without = estimates_without(unknowns, pieces, self.held.suspects)
        return tuple(found for found in without if found is not None)

    def _stated(self, name: str) -> tuple[float, float]:
        """Radius of a plate and its uncertainty by what the evidence says of itself [mm]."""
        unknown = radius_unknown(name)
        return self.estimate.value(unknown), self.estimate.u(unknown)

    def known(self, name: str) -> bool:
        """Whether anything tells the radius of that plate."""
        value, u = self._stated(name)
        return u < _NOTHING * value


def plate_radii(
    plates: Sequence[Piece],
    certificates: Sequence[PlateCertificate] = (),
    sagittas: Sequence[PlateSagitta] = (),
    contacts: Sequence[Contact] = (),
) -> PlateRadii:
    """Estimate the radii of plates.

    Parameters
    ----------
    plates : sequence of Piece
        All that the evidence names, with their nominal radii.
    certificates, sagittas, contacts
        The evidence; of certificates those that stand and have an uncertainty count.

    Raises
    ------
    BadInput
        If the evidence names a plate that is not there, or lies outside what can be.
    """
    counting = tuple(one for one in standing(certificates) if one.u_mm)
    evidence = (tuple(plates), counting, tuple(sagittas), tuple(contacts))
    return PlateRadii(*evidence, _estimate(*evidence, own=False))


def _estimate(
    plates: Sequence[Piece],
    certificates: Sequence[PlateCertificate],
    sagittas: Sequence[PlateSagitta],
    contacts: Sequence[Contact],
    *,
    own: bool,
) -> Estimate:
    """Estimate all; `own`: what repeating does not better errs anew at each visit as well."""
    pieces = {one.name: one for one in plates}
    unknowns, evidence = radii(pieces, plates)
    evidence += [_certificate(one) for one in certificates]
    _add_sagittas(unknowns, evidence, sagittas, own=own)
    add_contacts(unknowns, evidence, contacts, pieces)
    return estimate(unknowns, evidence)


def _certificate(one: PlateCertificate) -> Evidence:
    assert one.u_mm is not None
    model = itself(radius_unknown(one.plate))
    return Evidence(
        one.label,
        one.radius_mm,
        one.u_mm,
        model,
        "mm",
        "certificate",
        surface=one.plate,
        visit=one.visit,
    )


def _add_sagittas(
    unknowns: list[Unknown],
    evidence: list[Evidence],
    sagittas: Sequence[PlateSagitta],
    *,
    own: bool,
) -> None:
    """Add readings of spherometers; `own`: what repeating does not better errs anew as well."""
    shared = _Shared(unknowns, evidence)
    by_gauge: dict[str, list[PlateSagitta]] = {}
    for one in sagittas:
        by_gauge.setdefault(one.spherometer.name, []).append(one)
    for gauge, of_gauge in by_gauge.items():
        scatter = Scatter.of(of_gauge)
        for one in of_gauge:
            names = shared.of_gauge(one, gauge)
            reading = shared.error(f"reading of {gauge} on {one.plate}", one.u_gauge_um)
            u = math.hypot(one.u_scatter_um(scatter), one.u_gauge_um if own else 0.0)
            evidence.append(
                Evidence(
                    one.label,
                    one.sagitta_um,
                    u,
                    _sagitta_model(one, names, reading),
                    "um",
                    "spherometer",
                    surface=one.plate,
                    visit=one.visit,
                )
            )


class _Shared:
    """Unknowns that readings share, each made once with what is known of it beforehand."""

    def __init__(self, unknowns: list[Unknown], evidence: list[Evidence]) -> None:
        self._unknowns, self._evidence = unknowns, evidence

    def error(
        self, name: str, u: float, value: float = 0.0, *, unit: str = "um", kind: str = "shared"
    ) -> str | None:
        """Name of the unknown; None where it does not err."""
        if not u:
            return None
        share_once(self._unknowns, self._evidence, name, u, value, unit=unit, kind=kind)
        return name

    def of_gauge(self, one: PlateSagitta, gauge: str) -> dict[str, str | None]:
        """Names of what all readings of a spherometer share; a ring has two edges."""
        sizes = one.spherometer
        contact = sizes.contact_mm(one.form)
        edges = sizes.convex_contact_mm != sizes.concave_contact_mm
        edge = ("inner edge" if one.form == "convex" else "outer edge") if edges else "circle"
        u_size, kind = sizes.u_contact_mm, "shared"
        if u_size is None:
            u_size, kind = _PLAIN_SIZE * contact, "assumed"
        return {
            "size": self.error(f"{edge} of {gauge}", u_size, contact, unit="mm", kind=kind),
            "ball": self.error(
                f"balls of {gauge}", sizes.u_ball_mm or 0.0, sizes.ball_radius_mm, unit="mm"
            ),
            "scale": self.error(f"scale of {gauge}", sizes.u_scale, unit="1"),
            # in units of itself, since it grows with the time
            "drift": self.error(f"drift of {gauge}", 1.0 if one.u_drift_um else 0.0, unit="1"),
        }


def _sagitta_model(
    one: PlateSagitta, names: Mapping[str, str | None], reading: str | None
) -> Model:
    size, ball, scale, drift = (names[name] for name in ("size", "ball", "scale", "drift"))
    gauge, radius = one.spherometer, radius_unknown(one.plate)

    def model(x: Mapping[str, float]) -> float:
        contact = x[size] if size else gauge.contact_mm(one.form)
        of_ball = x[ball] if ball else gauge.ball_radius_mm
        height = UM_PER_MM * reading_from_radius_mm(x[radius], contact, one.form, of_ball)
        height *= 1.0 + (x[scale] if scale else 0.0)
        errors = (x[reading] if reading else 0.0) + (one.u_drift_um * x[drift] if drift else 0.0)
        return height + errors

    return model

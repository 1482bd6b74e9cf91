"""Radii as unknowns of an estimate, and certificates and contacts as evidence on them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from fringe.errors import BadInput
from fringe.judge.pair.contacts import Contact, Piece
from fringe.judge.uncertainty.evidence import Evidence, Model, Unknown
from fringe.optics.spheres import power_fringes
from fringe.quantity import Source

# What keeps a radius within reason where nothing is known of it, relative (ours, no source)
ANY_RADIUS = 0.05
# A certificate without an uncertainty, relative (ours, no source)
PLAIN_CERTIFICATE = 1e-3


def radius_unknown(name: str) -> str:
    """Name of the unknown that is a piece's radius."""
    return f"radius {name}"


def radii(
    pieces: Mapping[str, Piece], order: Sequence[Piece]
) -> tuple[list[Unknown], list[Evidence]]:
    """The pieces' radii as unknowns, with their certificates as evidence."""
    unknowns, evidence = [], []
    for one in order:
        name, nominal = radius_unknown(one.name), one.radius_mm
        unknowns.append(Unknown(name, nominal, 1e-4 * nominal))
        evidence.append(
            Evidence(
                f"{one.name} is near its nominal radius",
                nominal,
                ANY_RADIUS * nominal,
                itself(name),
                "mm",
                "assumed",
            )
        )
        if one.certified_mm is not None:
            u = one.u_certified_mm or PLAIN_CERTIFICATE * one.certified_mm
            evidence.append(
                Evidence(
                    f"certificate of {one.name}",
                    one.certified_mm,
                    u,
                    itself(name),
                    "mm",
                    "certificate",
                )
            )
    return unknowns, evidence


def itself(name: str) -> Model:
    """The model of evidence that tells an unknown itself."""
    return lambda x: x[name]


def share_once(
    unknowns: list[Unknown],
    evidence: list[Evidence],
    name: str,
    u: float,
    value: float = 0.0,
    *,
    unit: str = "um",
    kind: str = "shared",
) -> None:
    """Add an unknown that pieces of evidence share, with what is known of it beforehand, once."""
    if all(known.name != name for known in unknowns):
        unknowns.append(Unknown(name, value, u))
        evidence.append(Evidence(name, value, u, itself(name), unit, kind))


def contact_power(
    x: Mapping[str, float], work: Piece, other: str, diameter_mm: float, wavelength_nm: float
) -> float:
    """Power of a work laid on another piece, by their radii among the unknowns [fringe]."""
    radius = x[radius_unknown(other)]
    step = x[radius_unknown(work.name)] - radius
    return power_fringes(step, radius, diameter_mm, wavelength_nm, work.form)


def piece_named(pieces: Mapping[str, Piece], name: str) -> Piece:
    """The piece of that name; `BadInput` where the evidence names one that is not there."""
    if name not in pieces:
        raise BadInput(f"pair: the evidence names {name!r}, which is not one of its pieces")
    return pieces[name]


def add_contacts(
    unknowns: list[Unknown],
    evidence: list[Evidence],
    contacts: Sequence[Contact],
    pieces: Mapping[str, Piece],
) -> None:
    """Add contacts as evidence, and what they share as unknowns, each once."""
    for one in contacts:
        work, other = piece_named(pieces, one.work), piece_named(pieces, one.other)
        if work.form == other.form:
            raise BadInput(f"pair: {work.name} and {other.name} are both {work.form}")
        light = f"wavelength {one.lamp or one.label}"
        if one.u_wavelength_nm and all(known.name != light for known in unknowns):
            # relative, so that lamps whose fringes were converted share it as well
            unknowns.append(Unknown(light, 0.0, 1e-4))
            share = one.u_wavelength_nm / one.wavelength_nm
            evidence.append(
                Evidence(f"wavelength of {one.lamp}", 0.0, share, itself(light), "1", "shared")
            )
        for source, _ in one.shared:
            share_once(unknowns, evidence, error_unknown(source), 1.0, unit="1")
        evidence.append(
            Evidence(
                one.label,
                one.power_fringes,
                one.u_fringes,
                _contact_model(one, work, light if one.u_wavelength_nm else None),
                "fringes",
                "contact",
                -one.power_fringes,
                one.work,
                one.visit,
            )
        )


def _contact_model(one: Contact, work: Piece, light: str | None) -> Model:
    def model(x: Mapping[str, float]) -> float:
        wave = one.wavelength_nm * (1.0 + (x[light] if light else 0.0))
        errors = math.fsum(c * x[error_unknown(source)] for source, c in one.shared)
        return contact_power(x, work, one.other, one.diameter_mm, wave) + errors

    return model


def error_unknown(source: Source) -> str:
    """Name of the unknown that is an error which pieces of evidence share."""
    return f"{source.what.replace('_', ' ')} of {source.of}"

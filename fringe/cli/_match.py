"""Options of commands that ask whether a convex and a concave match, and the answer."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import click

from fringe.cli._bench import NUMBER
from fringe.cli._options import LENGTH
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.store.surface import Surface
    from fringe.archive.views.pair_evidence import PairRecord
    from fringe.archive.views.proof import Tell
    from fringe.judge.pair.match import Pair
    from fringe.judge.pair.next_step import PairStep
    from fringe.judge.tolerance.verdict import Tolerance

F = TypeVar("F", bound=Callable[..., Any])
_RULE, _CONTACT_U = "guard95", 0.05
_LIMITS = {
    "tolerance_power": "power_fringes",
    "tolerance_radius": "radius_difference_mm",
    "tolerance_irregularity": "irregularity_fringes",
}
OPTIONS = (
    click.option(
        "--system",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="System that the pair is for: its match tolerance.",
    ),
    click.option(
        "--tolerance-power", type=NUMBER, metavar="N", help="Else: power allowed between."
    ),
    click.option("--tolerance-radius", type=LENGTH, metavar="L", help="Mismatch of radii allowed."),
    click.option("--tolerance-irregularity", type=NUMBER, metavar="N", help="The same, B."),
    click.option(
        "--rule",
        type=click.Choice(["simple", "guard95", "shrinkU"]),
        help=f"Decision rule; else the tolerance's, or {_RULE}.",
    ),
    click.option(
        "--contact-u",
        type=NUMBER,
        metavar="N",
        help="Of each contact besides its reading: temperature, plate's form.  "
        f"[default: {_CONTACT_U}]",
    ),
    click.option("--lamp", metavar="NAME", help="To count fringes in; else the surfaces' own."),
)
_NAMES = ("system", *_LIMITS, "rule", "contact_u", "lamp")


class Matched(NamedTuple):
    """A pair with the evidence on it, the estimate, and what to do next."""

    convex: Surface
    concave: Surface
    record: PairRecord
    pair: Pair
    step: PairStep


def match_options(function: F) -> F:
    """Add the options that say how well the two must match."""
    for option in reversed(OPTIONS):
        function = option(function)
    return function


def first_given(given: dict[str, Any]) -> str | None:
    """Name of the first of these options that was given, as it is typed."""
    names = [name for name in _NAMES if given[name] is not None]
    return f"--{names[0].replace('_', '-')}" if names else None


def matched(
    convex: str,
    concave: str,
    given: dict[str, Any],
    *,
    proven: bool = False,
    tell: Tell | None = None,
) -> Matched:
    """Estimate a pair from all evidence that the archive holds on the two.

    With `proven` every session of both is opened and proven, for a report.

    Raises
    ------
    BadInput
        If the two are no pair, nothing was measured, or an option is wrong.
    """
    from fringe.archive.views.pair_evidence import load_pair, pair_record
    from fringe.judge.pair.match import match
    from fringe.judge.pair.next_step import next_step

    surfaces = load_pair(convex, concave)
    contact_u = _CONTACT_U if given["contact_u"] is None else given["contact_u"]
    if contact_u < 0:
        raise BadInput("--contact-u: an uncertainty is not below zero")
    record = pair_record(*surfaces, contact_u_fringes=contact_u, proven=proven, tell=tell)
    wavelength = _wavelength(surfaces, given["lamp"])
    found = match(
        record.convex,
        record.concave,
        record.plates,
        record.contacts,
        record.sagittas,
        wavelength_nm=wavelength,
        tolerance=_tolerance(given, surfaces, wavelength),
        irregularity=record.irregularity,
    )
    return Matched(*surfaces, record, found, next_step(found))


def _wavelength(surfaces: tuple[Surface, Surface], lamp: str | None) -> float:
    if lamp is not None:
        from fringe.archive.instruments import find_lamp

        folder = surfaces[1].folder
        return find_lamp(lamp, None if folder is None else folder.parent).wavelength_nm
    from fringe.archive.store.surface import E_LINE_NM

    return surfaces[1].tolerance.wavelength_nm or surfaces[0].tolerance.wavelength_nm or E_LINE_NM


def _tolerance(
    given: dict[str, Any], surfaces: tuple[Surface, Surface], wavelength_nm: float
) -> Tolerance | None:
    """What the match must keep: by the system, as given, or by the piece made on the other."""
    from fringe.judge.tolerance.verdict import Tolerance

    named = {key: given[name] for name, key in _LIMITS.items() if given[name] is not None}
    rule = given["rule"] or _RULE
    if given["system"] is None:
        if named:
            return Tolerance(wavelength_nm=wavelength_nm, rule=rule, **named)
        return _own(surfaces, given["rule"])
    if named:
        raise BadInput("--system brings the tolerance; leave the --tolerance options out")
    from fringe.judge.tolerance.system import load_system, system_tolerance

    allowed = system_tolerance(load_system(given["system"]), wavelength_nm)
    if allowed.match is None:
        raise BadInput(f"{given['system']}: it names no pair that must match")
    # the radius, since the system's apertures need not be those that were tested
    return Tolerance(radius_difference_mm=allowed.match.radius_mm, rule=rule)


def _own(surfaces: tuple[Surface, Surface], rule: str | None) -> Tolerance | None:
    """Tolerance on record of the piece whose plate is the other one: it is of this contact."""
    import dataclasses

    for one, other in (surfaces, surfaces[::-1]):
        kept = one.tolerance
        limits = (kept.power_fringes, kept.irregularity_fringes, kept.radius_difference_mm)
        if one.plate.name == other.name and limits != (None, None, None):
            return dataclasses.replace(kept, rule=rule or kept.rule)
    return None

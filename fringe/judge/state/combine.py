"""All that one visit measured as one value, and whether its parts contradict each other."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

from fringe.format import plus_minus
from fringe.judge.state.same_photograph import CONTRADICTION, once_each
from fringe.judge.tolerance.measured import Measured
from fringe.quantity import Quantity, Source, half_width, weighted_mean
from fringe.student_t import dof_of_factor

# a value, and the quantity where its uncertainty is known
_Value = tuple[float | None, Quantity | None]

SOURCES = ("fringes", "eye", "spherometer")
# The spherometer tells where the contact is when the other sense is this far off, and this one
# is no contradiction: a chance of a millionth.
TELLING = 5.0


@dataclass(frozen=True)
class Together:
    """What a visit measured.

    Attributes
    ----------
    value : Measured
        One value of it all.
    parts : tuple of Measured
        The value by each source that measured power, the most precise kind of source first.
    conflict : str or None
        What contradicts what, with the numbers.
    """

    value: Measured
    parts: tuple[Measured, ...] = ()
    conflict: str | None = None


def together(readings: Sequence[Measured], wavelength_nm: float | None = None) -> Together:
    """Bring the readings of one visit together: repeated ones, and those of several sources.

    Each photograph counts once. Readings of one source are averaged by :func:`combine`; the
    sources, which have no error in common, by their weights 1/u^2. Where fringes do not tell
    the sense and the spherometer does, beyond doubt, it is taken from there.

    Parameters
    ----------
    readings : sequence of Measured
        Readings of one surface at one visit.
    wavelength_nm : float or None
        Wavelength to count fringes in [nm]; None keeps the first reading's.

    Returns
    -------
    Together
    """
    target = wavelength_nm or next((m.wavelength_nm for m in readings if m.wavelength_nm), None)
    readings, twice = once_each(readings)
    groups = [[m for m in readings if m.source == source] for source in SOURCES]
    means = [combine(group, target) for group in groups if group]
    if not means:
        return Together(Measured(wavelength_nm=target))
    means = _with_sense(means)
    parts = tuple(one for one in means if one.power_fringes is not None)
    conflict = twice or _conflict(parts)
    if len(parts) < 2 or conflict is not None or any(one.sense == "unknown" for one in parts):
        return Together(_with_form(_best(means), means), parts, conflict)
    return Together(_with_form(_weighted(parts), means), parts)


def combine(readings: Sequence[Measured], wavelength_nm: float | None = None) -> Measured:
    """Take the mean of the readings of one source.

    Each photograph counts once. Their uncertainties are taken as fully correlated (one edge,
    one lamp, one camera place), so that repeating does not lessen them; their scatter comes on
    top of that, as the standard uncertainty of a mean with n - 1 degrees of freedom. Few
    readings tell their scatter badly, and Student's t makes up for it.

    Parameters
    ----------
    readings : sequence of Measured
        Readings of one surface at one visit.
    wavelength_nm : float or None
        Wavelength to count fringes in [nm]; None keeps the first reading's.

    Returns
    -------
    Measured
        Readings of unknown sense take that of the others; where these contradict each
        other, the sense is unknown and only readings' magnitudes count. Both senses so near
        zero that the readings agree are no contradiction.
    """
    target = wavelength_nm or next((m.wavelength_nm for m in readings if m.wavelength_nm), None)
    readings, _ = once_each(readings)
    if len(readings) == 1:
        return in_fringes_of(readings[0], target)
    scaled = [in_fringes_of(reading, target) for reading in readings]
    sense = _common_sense(scaled)
    sign = -1.0 if sense == "edge" else 1.0
    powers = [(m.power_fringes, m.power) for m in scaled]
    radii = [(m.radius_difference_mm, m.radius_difference) for m in scaled]
    if sense == "unknown" or any(m.sense == "unknown" for m in scaled):
        powers = [_of_sign(one, sign) for one in powers]
        radius_sign = _radius_sign(scaled)
        radii = [_of_sign(one, radius_sign) for one in radii]
    power, radius = _mean(powers, "fringes"), _mean(radii, "mm")
    irregularity = _mean([(m.irregularity_fringes, m.irregularity) for m in scaled], "fringes")
    sources = ", ".join(dict.fromkeys(m.source for m in scaled)) or "fringes"
    features = _surest_form(scaled).features if scaled else ()
    made = Measured(sense=sense, wavelength_nm=target, source=sources, features=features)
    if power[0] is None and radius[1] is not None:
        made = dataclasses.replace(made, dof=radius[1].dof)
    return made.with_power(*power).with_radius_difference(*radius).with_irregularity(*irregularity)


def in_fringes_of(one: Measured, wavelength_nm: float | None) -> Measured:
    """Count a reading's fringes at another wavelength: the same gap."""
    if wavelength_nm is None or not one.wavelength_nm or one.wavelength_nm == wavelength_nm:
        return one
    return one.scaled_fringes(one.wavelength_nm / wavelength_nm, wavelength_nm)


def _common_sense(readings: Sequence[Measured]) -> str:
    """Sense of the mean; `unknown` where the readings contradict each other or tell none."""
    read = [m for m in readings if m.power_fringes is not None]
    senses = {m.sense for m in read if m.sense != "unknown"}
    if len(senses) == 1:
        return senses.pop()
    if not senses or any(m.sense == "unknown" or m.power_u_fringes is None for m in read):
        return "unknown"
    powers = [m.power_fringes or 0.0 for m in read]
    u = max(m.power_u_fringes or 0.0 for m in read)
    if max(powers) - min(powers) > CONTRADICTION * math.sqrt(2) * u:
        return "unknown"
    return "centre" if math.fsum(powers) >= 0 else "edge"


def _with_sense(means: list[Measured]) -> list[Measured]:
    """Give fringes of unknown sense the one that the others prove, if they do."""
    known = [m for m in means if m.sense != "unknown" and _is_sure(m)]
    if not known:
        return means
    other = known[0]
    return [
        _with_sense_of(one, other) if one.sense == "unknown" and _is_sure(one) else one
        for one in means
    ]


def _with_sense_of(one: Measured, other: Measured) -> Measured:
    size, known_power = abs(one.power_fringes or 0.0), other.power_fringes or 0.0
    u = math.hypot(one.power_u_fringes or 0.0, other.power_u_fringes or 0.0)
    off = {sign: abs(sign * size - known_power) for sign in (1.0, -1.0)}
    sign = min(off, key=lambda each: off[each])
    if off[sign] > CONTRADICTION * u or off[-sign] <= TELLING * u:
        return one
    # work and plate change places in the sign of the radius difference with the work's form
    same = (other.radius_difference_mm or 0.0) * known_power >= 0
    step = one.radius_difference_mm, one.radius_difference
    return (
        dataclasses.replace(one, sense="centre" if sign > 0 else "edge")
        .with_power(*_of_sign((one.power_fringes, one.power), sign))
        .with_radius_difference(*_of_sign(step, sign if same else -sign))
    )


def _is_sure(one: Measured) -> bool:
    return one.power_fringes is not None and one.power_u_fringes is not None


def _conflict(parts: Sequence[Measured]) -> str | None:
    """Two sources that differ by more than their uncertainties allow, in words."""
    for i, one in enumerate(parts):
        for other in parts[i + 1 :]:
            if not (_is_sure(one) and _is_sure(other)):
                continue
            u = math.hypot(one.power_u_fringes or 0.0, other.power_u_fringes or 0.0)
            if _apart(one, other) > CONTRADICTION * u:
                return f"{_said(one)}, {_said(other)}: they contradict each other"
    return None


def _apart(one: Measured, other: Measured) -> float:
    p, q = one.power_fringes or 0.0, other.power_fringes or 0.0
    if "unknown" in (one.sense, other.sense):
        return min(abs(p - q), abs(p + q))
    return abs(p - q)


def _said(one: Measured) -> str:
    signed = one.sense != "unknown"
    u95 = half_width(one.power_u_fringes or 0.0, one.dof)
    shown = plus_minus(one.power_fringes or 0.0, u95, "fringes", signed=signed)
    words = {
        "fringes": "photographs say",
        "eye": "by eye it is",
        "spherometer": "the spherometer says",
    }
    return f"{words.get(one.source, one.source)} {shown}"


def _best(means: Sequence[Measured]) -> Measured:
    """The mean with the smallest uncertainty of power."""

    def rank(one: Measured) -> tuple[bool, float]:
        u = one.power_u_fringes
        return one.power_fringes is None, math.inf if u is None else u

    return min(means, key=rank)


def _weighted(parts: Sequence[Measured]) -> Measured:
    """Mean with the weights 1/u^2; what has no uncertainty counts only where nothing has one."""
    power = _weighted_mean([(m.power_fringes, m.power) for m in parts])
    radius = _weighted_mean([(m.radius_difference_mm, m.radius_difference) for m in parts])
    made = parts[0].with_power(*power).with_radius_difference(*radius)
    assert made.power_fringes is not None
    return dataclasses.replace(
        made,
        dof=None if power[1] is None else power[1].dof,
        sense="centre" if made.power_fringes >= 0 else "edge",
        source=", ".join(m.source for m in parts),
    )


def _weighted_mean(values: Sequence[_Value]) -> _Value:
    known = [one for _, one in values if one is not None and one.u > 0]
    if not known:
        return next((one for one in values if one[0] is not None), (None, None))
    mean = weighted_mean(known)
    return mean.value, mean


def _with_form(one: Measured, means: Sequence[Measured]) -> Measured:
    """Add the irregularity that another source measured, and the radius if this one has none."""
    form = next((m for m in means if m.irregularity_fringes is not None), one)
    step = (
        one
        if one.radius_difference_mm is not None
        else next((m for m in means if m.radius_difference_mm is not None), one)
    )
    made = one.with_irregularity(form.irregularity_fringes, form.irregularity)
    made = made.with_radius_difference(step.radius_difference_mm, step.radius_difference)
    return dataclasses.replace(made, features=form.features)


def _surest_form(readings: Sequence[Measured]) -> Measured:
    """The reading whose irregularity is known best: zones of several are not averaged."""

    def rank(one: Measured) -> tuple[bool, float]:
        u = one.irregularity_u_fringes
        return one.irregularity_fringes is None, math.inf if u is None else u

    return min(readings, key=rank)


def _radius_sign(readings: Sequence[Measured]) -> float:
    """Sign that the radius differences of known sense share; plus where they do not."""
    known = {
        math.copysign(1.0, m.radius_difference_mm)
        for m in readings
        if m.sense != "unknown" and m.radius_difference_mm
    }
    return known.pop() if len(known) == 1 else 1.0


def _of_sign(one: _Value, sign: float) -> _Value:
    """The magnitude with a sign."""
    value, found = one
    return (None if value is None else sign * abs(value)), found and sign * abs(found)


def _mean(values: Sequence[_Value], unit: str) -> _Value:
    """Mean with its uncertainty and degrees of freedom; no uncertainty where one has none."""
    known = [(value, found) for value, found in values if value is not None]
    if not known:
        return None, None
    count = len(known)
    mean = math.fsum(value for value, _ in known) / count
    given = [found for _, found in known if found is not None]
    if len(given) < count:
        return mean, None
    if count == 1:
        return mean, given[0]
    common = _common(given, mean, unit)
    common_dof = min((one.dof for one in given if one.dof is not None), default=None)
    scatter = math.sqrt(math.fsum((v - mean) ** 2 for v, _ in known) / (count - 1) / count)
    owner = next((source.of for one in given for source, _ in one.parts), "")
    made = common.added(Source("repeatability", owner, count - 1.0), scatter)
    if made.u == 0:
        return mean, dataclasses.replace(made, dof=common_dof)
    # Welch and Satterthwaite cover too little here: two readings that chance to agree would
    # pass for many. Half-widths added in squares cover at least what they say.
    half = math.hypot(half_width(common.u, common_dof), half_width(scatter, count - 1))
    return mean, dataclasses.replace(made, dof=dof_of_factor(half / made.u))


def _common(given: Sequence[Quantity], mean: float, unit: str) -> Quantity:
    """What readings of one contact have in common: kind by kind, the mean of what each states."""
    kinds = dict.fromkeys(source.what for one in given for source, _ in one.parts)
    parts: dict[Source, float] = {}
    for what in kinds:
        found = [(source, c) for one in given for source, c in one.parts if source.what == what]
        owners = dict.fromkeys(source.of for source, _ in found)
        if len(owners) == 1:
            parts[found[0][0]] = math.fsum(c for _, c in found) / len(given)
        else:  # each its own, and taken to err alike: one edge, one place of the camera
            owner = f"{next(iter(owners))} and {len(owners) - 1} more"
            parts[Source(what, owner)] = math.fsum(abs(c) for _, c in found) / len(given)
    return Quantity.of(mean, unit, parts)

"""From a surface's visits to the input of the rates' estimate: heights, changes, bands."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fringe.judge.state.abrasives import Spell, Stage, stage
from fringe.judge.state.forecast import Forecast, forecast
from fringe.judge.state.rates import HeightChange, Kind, learn
from fringe.judge.tolerance.tolerance import Aperture
from fringe.optics.spheres import power_fringes
from fringe.quantity import standard

if TYPE_CHECKING:
    from fringe.judge.state.visits import VisitRow
    from fringe.judge.tolerance.verdict import Tolerance

NM_PER_UM = 1e3
USUAL_SPELL = 30.0  # minutes, where none was logged
NO_STAGE = Stage("", key="")
# shorter spells, and readings more certain, are slips of the pen
LEAST_MINUTES, LEAST_U_UM = 0.05, 1e-4


@dataclass(frozen=True)
class RateHistory:
    """A surface's visits as the estimate of rates needs them.

    Attributes
    ----------
    changes : tuple of HeightChange
        Change of height by the work between two readings of known sense.
    height_um, u_um : float or None
        Height of power at the last such reading, and its standard uncertainty [um].
    spells : tuple of Spell
        All work, in its order.
    unread : bool
        Whether work was done since that reading.
    """

    changes: tuple[HeightChange, ...] = ()
    height_um: float | None = None
    u_um: float | None = None
    spells: tuple[Spell, ...] = ()
    unread: bool = False


def rate_history(rows: Sequence[VisitRow], wavelength_nm: float) -> RateHistory:
    """Take from the rows of a table of progress the changes that determine the rates.

    Work between two readings counts where its minutes are logged. Readings of unknown sense,
    without uncertainty, or that contradict each other, are left out.
    """
    changes: list[HeightChange] = []
    spells: list[Spell] = []
    before: tuple[float, float] | None = None
    between: list[tuple[Kind, float]] = []
    whole = follows = True
    for row in rows:
        if row.minutes or row.stage:
            worked_stage = NO_STAGE if row.stage is None else stage(row.stage)
            spells.append(Spell(worked_stage, row.minutes, row.removed_um, row.pits))
            between.append(
                (Kind(worked_stage.key, row.on_top or "", worked_stage.name), row.minutes or 0.0)
            )
            whole = whole and row.minutes is not None
        now = _height(row, wavelength_nm)
        if now is None:
            continue
        if before is not None and whole:
            worked = tuple((kind, minutes) for kind, minutes in between if minutes >= LEAST_MINUTES)
            chained = follows and bool(changes)
            changes.append(HeightChange(now[0] - before[0], before[1], now[1], worked, chained))
        follows = whole and before is not None
        before, between, whole = now, [], True
    height, u = before or (None, None)
    return RateHistory(tuple(changes), height, u, tuple(spells), bool(between))


def _height(row: VisitRow, wavelength_nm: float) -> tuple[float, float] | None:
    """Height of power at a visit and its standard uncertainty [um]."""
    if row.power_fringes is None or row.power_u95_fringes is None:
        return None
    if row.sense == "unknown" or row.conflict is not None:
        return None
    scale = wavelength_nm / 2 / NM_PER_UM
    u = standard(row.power_u95_fringes) * scale
    return row.power_fringes * scale, max(u, LEAST_U_UM)


def half_width_um(tolerance: Tolerance, aperture: Aperture | None) -> float | None:
    """Largest height of power that a tolerance allows either way [um]; None: no limit to it."""
    widths = []
    wavelength = tolerance.wavelength_nm
    if tolerance.power_fringes is not None and wavelength is not None:
        widths.append(tolerance.power_fringes * wavelength / 2 / NM_PER_UM)
    if tolerance.radius_difference_mm is not None and aperture is not None:
        step = tolerance.radius_difference_mm
        fringes = [
            abs(
                power_fringes(
                    way * step,
                    aperture.radius_mm,
                    aperture.diameter_mm,
                    aperture.wavelength_nm,
                    aperture.work,
                )
            )
            for way in (1.0, -1.0)
        ]
        widths.append(min(fringes) * aperture.wavelength_nm / 2 / NM_PER_UM)
    return min(widths, default=None)


def usual_minutes(
    kind: Kind, changes: Sequence[HeightChange], like: Sequence[Sequence[HeightChange]]
) -> float:
    """Median length of a spell of this kind [min]."""
    own = [m for change in changes for k, m in change.minutes if k == kind]
    others = [m for surface in like for change in surface for k, m in change.minutes if k == kind]
    return statistics.median(own or others or [USUAL_SPELL])


def foretell(
    kind: Kind,
    own: RateHistory,
    band_um: float | None,
    like: Sequence[Sequence[HeightChange]] = (),
    *,
    draws: int = 2000,
) -> Forecast | None:
    """Forecast one kind of work for a surface; None where its rate cannot be estimated."""
    if own.height_um is None or own.u_um is None:
        return None
    mixture = learn(kind, own.changes, own.height_um, own.u_um, like, draws=draws)
    if mixture is None:
        return None
    return forecast(kind, mixture, band_um or 0.0, usual_minutes(kind, own.changes, like))


def learned_rates(
    rows: Sequence[VisitRow],
    tolerance: Tolerance,
    *,
    aperture: Aperture | None = None,
    like: Sequence[Sequence[HeightChange]] = (),
) -> tuple[Forecast, ...]:
    """Forecast every kind of work that was logged on a surface, the latest kind last."""
    if tolerance.wavelength_nm is None:
        return ()
    own = rate_history(rows, tolerance.wavelength_nm)
    worked = [k for change in own.changes for k, _ in change.minutes]
    kinds = list(dict.fromkeys(reversed(worked)))[::-1]
    band = half_width_um(tolerance, aperture)
    forecasts = [foretell(kind, own, band, like) for kind in kinds]
    return tuple(change for change in forecasts if change is not None)

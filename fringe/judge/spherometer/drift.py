"""How far a gauge may have moved since it was calibrated."""

from __future__ import annotations

from datetime import date

from fringe.format import figures
from fringe.optics.spherometer import Spherometer

_DAYS_A_YEAR = 365.25
# a calibration older than this is worth a remark where no drift is on record (common practice,
# no source)
_FRESH_YEARS = 1.0


def gauge_drift(one: Spherometer | None, when: date) -> tuple[float, str | None]:
    """Standard uncertainty of a gauge by the time since its calibration, and a remark.

    Parameters
    ----------
    one : Spherometer or None
        With the date of its calibration and its drift a year, where its record knows them.
    when : date
        Of the readings.

    Returns
    -------
    u_mm : float
        Drift a year times the years; zero where either is not known [mm].
    remark : str or None
        What the record leaves open: an old calibration without a drift, or one that came after
        the readings.
    """
    if one is None or one.calibrated is None:
        return 0.0, None
    years = (when - one.calibrated).days / _DAYS_A_YEAR
    on = one.calibrated.isoformat()
    if one.u_drift_mm_per_year is None:
        if years < _FRESH_YEARS:
            return 0.0, None
        return 0.0, (
            f"the gauge was calibrated on {on}, {figures(years, 2)} years before, and its "
            "record says nothing of its drift"
        )
    after = f"the gauge was calibrated on {on}, after these readings" if years < 0 else None
    return one.u_drift_mm_per_year * abs(years), after

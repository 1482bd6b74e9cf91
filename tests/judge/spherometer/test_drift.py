"""What a gauge drifts since its calibration, in the budget of its readings."""

from __future__ import annotations

import dataclasses
from datetime import date

import pytest

from fringe.judge.spherometer.compare import SpherometerReadings, compare
from fringe.judge.spherometer.drift import gauge_drift
from fringe.optics.spherometer import three_legs

GAUGE = dataclasses.replace(
    three_legs([90.0]), calibrated=date(2024, 1, 1), u_drift_mm_per_year=0.3e-3
)


@pytest.mark.parametrize(
    ("when", "years"), [(date(2024, 1, 1), 0.0), (date(2025, 1, 1), 1.002), (date(2028, 1, 1), 4.0)]
)
def test_it_grows_with_the_years(when: date, years: float) -> None:
    """Drift a year times the years since the calibration (analytic)."""
    u, remark = gauge_drift(GAUGE, when)
    assert u == pytest.approx(0.3e-3 * years, rel=1e-3)
    assert remark is None


def test_what_the_record_leaves_open() -> None:
    """An old calibration without a drift, and one after the readings, are told; else nothing."""
    old = dataclasses.replace(GAUGE, u_drift_mm_per_year=None)
    u, remark = gauge_drift(old, date(2026, 7, 1))
    assert u == 0.0
    assert "2024-01-01, 2.5 years before" in str(remark)
    assert "nothing of its drift" in str(remark)
    assert gauge_drift(old, date(2024, 6, 1)) == (0.0, None)
    assert gauge_drift(dataclasses.replace(GAUGE, calibrated=None), date(2026, 1, 1)) == (0.0, None)
    assert gauge_drift(None, date(2026, 1, 1)) == (0.0, None)
    u, remark = gauge_drift(GAUGE, date(2023, 1, 1))
    assert u == pytest.approx(0.3e-3, rel=1e-2)
    assert "after these readings" in str(remark)


def test_a_row_of_the_budget() -> None:
    """The drift has a row; of points it counts twice in the depth, once a piece (analytic)."""
    readings = SpherometerReadings((0.808,), (0.793,), u_reading_mm=0.5e-3)
    drifted = dataclasses.replace(readings, u_drift_mm=2e-3)
    plain, found = (
        compare(one, "convex", spherometer=GAUGE).depth_um for one in (readings, drifted)
    )
    row = next(row for row in found.rows if row.input.name == "gauge drift")
    # the plate's share reaches the target through radii: 2 um a micrometre but for the slope
    assert abs(row.contribution) == pytest.approx(2 * 2.0, rel=0.01)
    assert found.u**2 - plain.u**2 == pytest.approx(row.contribution**2, rel=1e-6)
    assert "gauge drift" not in {row.input.name for row in plain.rows}

"""Readings of a spherometer in a session: what each source contributes comes back."""

from __future__ import annotations

import math

import pytest

from fringe.archive.store.read import read_summary
from fringe.archive.store.session import Visit
from fringe.archive.store.write import log_visit
from fringe.archive.views.sagittas import sagitta_readings
from fringe.judge.state.observed import OFFSET_SHARE, OWN_SOURCES, observed
from fringe.judge.state.visits import VisitRecord
from sample_visits import hours

# a plain ring whose size counts for more than what its readings scatter
RING = {"ring_inner_mm": 100.0, "ring_outer_mm": 102.0, "u_size_mm": 0.5}


@pytest.fixture
def kept(surface):
    """What a session's file says of a spherometer's readings, and what was logged."""
    readings, result = sagitta_readings(
        surface, [0.4201, 0.4199], [0.4152, 0.4151], [0.0], record=RING, u_reading_mm=2e-4
    )
    path = log_visit(surface, Visit(spherometers=readings), now=hours(0))
    (found,) = read_summary(path).measured
    return found, readings[1].measured, result.power_fringes


def test_sources_come_back(kept):
    """Each source's part is in the file, and together they are what the budget says."""
    found, logged, budget = kept
    assert found == logged
    assert found.power.u == pytest.approx(budget.u, rel=1e-9)
    kinds = {source.what for source, _ in found.power_parts}
    assert {"repeatability", "resolution", "inner_edge", "outer_edge"} <= kinds
    rows = {row.input.name: row.contribution for row in budget.rows}
    gauge = [rows[name] for name in ("plate reading", "work reading", "zero")]
    assert found.power.u_of("resolution") == pytest.approx(math.hypot(*gauge))


def test_the_offset_is_what_all_readings_share(kept, surface):
    """The offset's uncertainty is that of the sizes, not thrice that of the whole reading.

    Three times what is a reading's own is the least that an offset is taken for (analytic).
    """
    found, _, budget = kept
    visit = VisitRecord("one", hours(0), measured=(found,))
    (seen,) = observed([visit], found.wavelength_nm, surface.form)[0].readings
    fringe_um = found.wavelength_nm / 2e3
    own = found.power.u_of(*OWN_SOURCES)
    shared = math.sqrt(budget.u**2 - own**2)
    assert shared > OFFSET_SHARE * own
    assert abs(seen.u_offset_um) == pytest.approx(shared * fringe_um)
    assert seen.u_um < 0.4 * budget.u * fringe_um

"""Files that were written long ago still read: one sample of each version, kept as it was.

The samples are never made anew. A version that changes the format adds its own.
"""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from fringe.archive.store import layout as _layout
from fringe.archive.store import record_text
from fringe.archive.store import surface as records
from fringe.archive.store.read import open_session, read_summary
from fringe.archive.transfer import export
from fringe.archive.transfer.check import check_session
from fringe.archive.transfer.imports import import_surface
from fringe.judge.tolerance.verdict import Tolerance

SAMPLES = Path(__file__).with_name("samples")
SESSIONS = sorted(SAMPLES.glob("session-*.h5"))
WHEN = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("pattern", "newest"),
    [
        (r"session-(\d+)\.h5", _layout.SCHEMA_VERSION),
        (r"surface-(\d+)\.json", record_text.SCHEMA_VERSION),
        (r"export-(\d+)\.nc", export.SCHEMA_VERSION),
    ],
)
def test_every_version_has_its_sample(pattern, newest):
    """From the first version to today's there is a sample of each."""
    names = [re.fullmatch(pattern, path.name) for path in SAMPLES.iterdir()]
    assert {int(name[1]) for name in names if name} == set(range(1, newest + 1))


@pytest.mark.parametrize("path", SESSIONS, ids=lambda path: path.name)
def test_an_old_session_says_what_it_said(path, tmp_path):
    """(regression) A session of each version opens with the values that were written to it."""
    session = open_session(path)
    summary, visit = session.summary, session.visit
    assert (summary.when, summary.logged_at, summary.sequence) == (WHEN, WHEN, 1)
    assert re.fullmatch(r"0001_20260314T093000Z_[0-9a-z]{6}", summary.session_id)
    assert (visit.by, visit.temperature_c) == ("the second shift", 20.5)
    assert visit.remarks == "a scratch near the rim; größer als λ/10"
    assert (visit.work.stage, visit.work.minutes, visit.work.on_top) == ("polish", 42.5, "tool")
    assert visit.work.lap == "pitch"
    assert visit.inputs == {"edge": "auto"}
    named = shutil.copy(path, tmp_path / f"{summary.session_id}.h5")
    assert check_session(Path(named), "concave 1") is None
    fringes, sphere = read_summary(path).measured
    assert (fringes.power_fringes, fringes.sense, fringes.radius_difference_mm) == (
        -3.5,
        "edge",
        -0.75,
    )
    assert (sphere.power_fringes, sphere.source) == (-3.25, "spherometer")


@pytest.mark.parametrize("path", SESSIONS, ids=lambda path: path.name)
def test_an_old_reading_says_what_it_said(path):
    """(regression) A reading of each version comes back with form, covariance and gap map."""
    (logged,) = open_session(path).visit.readings
    reading = logged.reading
    assert (reading.wavelength_nm, reading.power_u95_fringes) == (589.29, 0.125)
    assert (reading.irregularity_fringes, reading.irregularity_u95_fringes) == (0.5, 0.0625)
    assert (reading.rings, reading.ring_step_px2) == (7, 900.0)
    assert reading.iso10110 == "3/ 3.5(0.5/0.13); λ = 589.3 nm"
    assert (reading.edge.cx, reading.edge.b, reading.edge.u_px) == (100.0, 79.5, 0.25)
    assert reading.quality.warnings == ("dust near the rim",)
    assert reading.form.terms == ((0, 0), (1, 1), (2, 0), (4, 0))
    np.testing.assert_array_equal(reading.form.values, [1.0, 1.5, -1.75, 0.125])
    np.testing.assert_array_equal(reading.form.covariance, np.diag([1e-4, 2e-4, 3e-4, 4e-4]))
    np.testing.assert_array_equal(reading.ring_fit.radii_px, [30.0, 42.5, 52.0])
    assert reading.power_u_parts == {"fit": 0.03125, "edge": 0.0625}
    assert (reading.frames, reading.steps_fringes) == (None, None)  # unknown to files of then
    np.testing.assert_array_equal(logged.gap.x, [-75.0, -37.5, 0.0, 37.5, 75.0])
    assert np.isnan(logged.gap.gap_nm[0, 0])
    assert (logged.gap.gap_nm[4, 4], logged.gap.unit) == (240.0, "mm")
    assert logged.lamp.name == "sodium"
    assert len(logged.lamp.lines) == 2


@pytest.mark.parametrize("path", SESSIONS, ids=lambda path: path.name)
def test_old_photographs_and_surfaces_are_what_they_were(path):
    """(regression) Photographs come back byte for byte, the surface's record field by field."""
    session = open_session(path)
    first, second = session.visit.photographs
    assert (first.file_name, first.data) == ("rings ä.jpg", b"\xff\xd8\xff photograph")
    assert (second.media_type, second.refusal) == ("image/tiff", "no fringes to be seen")
    (work,) = session.visit.spherometers
    np.testing.assert_array_equal(work.height_mm, [0.793, 0.7935])
    assert (work.radius_mm, work.options) == (3049.0, {"u_reading_mm": 0.001})
    assert_the_surface(session.surface)


def assert_the_surface(surface):
    assert (surface.name, surface.form) == ("concave 1", "concave")
    assert (surface.radius_mm, surface.radius_u_mm, surface.diameter_mm) == (3048.0, 0.5, 150.0)
    assert (surface.plate.name, surface.plate.radius_mm) == ("plate 7", 3048.6)
    assert surface.tolerance == Tolerance(2.0, 0.3, 1.5, 589.29, "guard95")
    assert (surface.lamp, surface.glass) == ("sodium", "borosilicate")
    assert (surface.note, surface.created_at) == ("second of the pair", WHEN)


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("surface-*.json")), ids=lambda path: path.name)
def test_an_old_record_says_what_it_said(path, tmp_path):
    """(regression) A surface's record of each version loads with the values it was written with."""
    shutil.copy(path, tmp_path / "surface-0001.json")
    assert_the_surface(records.load_surface(tmp_path))


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("export-*.nc")), ids=lambda path: path.name)
def test_an_old_export_comes_back(path, tmp_path):
    """(regression) An export of each version is imported with its session."""
    done = import_surface(path, tmp_path / "shop")
    assert (done.added, done.problems) == (1, ())
    assert_the_surface(done.surface)

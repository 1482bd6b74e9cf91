"""A surface's progress by its archive: its own visits first, then those of like surfaces."""

from __future__ import annotations

import dataclasses
import os

import pytest

from fringe.archive.store.order import Survey, survey
from fringe.archive.store.read import session_files
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Surface, add_surface
from fringe.archive.store.write import log_visit
from fringe.archive.views.surface_state import (
    like_surfaces,
    logged_visits,
    surface_state,
)
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.verdict import Tolerance
from sample_visits import hours, power_reading

WAVE = 589.29


@pytest.fixture
def make(tmp_path):
    """Make a surface of an archive with spells of polishing that left these powers."""

    def made(name, powers, diameter=150.0, minutes=30.0, stage="polish", archive="shop"):
        surface = add_surface(
            tmp_path / archive,
            Surface(
                name, "concave", 3048.0, diameter, tolerance=Tolerance(2.0, wavelength_nm=WAVE)
            ),
        )
        for i, power in enumerate(powers):
            work = Work(stage, minutes, "tool") if i else Work()
            reading = power_reading(power, 0.1, "edge" if power < 0 else "centre", WAVE)
            reading = dataclasses.replace(reading, gap=None)  # it takes most of the time
            log_visit(surface, Visit(readings=(reading,), work=work), now=hours(i))
        return surface

    return made


def test_like_surfaces_foretell_a_new_one(make):
    """A surface whose own visits tell no rate is foretold by like surfaces, alone less well.

    Analytic: 6 fringes in half an hour are 50 minutes for the ten to the limit.
    """
    for i in range(4):
        make(f"other {i}", [-30.0, -24.0 + 0.2 * i, -18.0])
    new = make("new", [])
    reading = power_reading(-12.0, 0.1, "edge", WAVE)
    log_visit(new, Visit(readings=(reading,), work=Work("polish", 30.0, "tool")), now=hours(5))
    found = surface_state(new)
    assert found.problems == ()
    told = found.next_step.forecast
    assert told.surfaces == 4
    # the readings are taken for warm, straight from the lap
    assert told.minutes.median == pytest.approx(50, rel=0.3)
    alone = surface_state(new, alone=True).next_step.forecast
    assert alone.surfaces == 0
    assert alone.minutes.high / alone.minutes.low > 1.5 * told.minutes.high / told.minutes.low


def test_its_own_visits_count_first(make):
    """Like surfaces twice as fast move the rate of a surface with own spells less than half way.

    Analytic: its own spells tell 12 fringes an hour, those of the others 24.
    """
    for i in range(6):
        make(f"fast {i}", [-40.0, -28.0, -16.0 + 0.5 * i])
    own = make("own", [-40.0, -34.0, -28.0, -22.0])
    with_like, alone = surface_state(own), surface_state(own, alone=True)
    rate = with_like.next_step.forecast.rate_um_h.median
    own_rate, other_rate = (fringes * WAVE / 2000 for fringes in (12.0, 24.0))
    assert abs(rate - own_rate) < 0.5 * abs(rate - other_rate)
    steps = [dataclasses.replace(row, next_step=None) for row in alone.rows]
    assert [dataclasses.replace(row, next_step=None) for row in with_like.rows] == steps


def test_what_is_like(make, tmp_path):
    """Surfaces of half the diameter are not alike, nor those of another archive, nor itself."""
    own = make("own", [-10.0, -8.0])
    make("small", [-10.0, -8.0], diameter=75.0)
    make("elsewhere", [-10.0, -8.0], archive="other")
    make("like", [-10.0, -7.0], diameter=140.0)
    (other,) = like_surfaces(own)
    assert other.diameter_mm == 140.0
    assert [visit.readings[0].height_um for visit in other.visits] == pytest.approx(
        [-10.0 * WAVE / 2000, -7.0 * WAVE / 2000]
    )


def test_damage_elsewhere_hides_nothing(make):
    """A like surface that cannot be read is passed over, a damaged session of it too."""
    own = make("own", [-10.0, -8.0])
    broken = make("broken", [-10.0, -7.0, -4.0])
    path = session_files(broken.folder)[1]
    path.write_bytes(path.read_bytes()[:-1])
    lost = make("lost", [-10.0, -7.0])
    (lost.folder / "surface-0001.json").write_text("{}")
    found = surface_state(own)
    assert found.problems == ()
    assert found.next_step.action == "polish"
    # of the broken one, what two readings with whole work between them tell
    assert len(like_surfaces(own)) == 1


def test_no_more_than_are_needed(make, monkeypatch):
    """Of very many like surfaces, as many are read as tell the rate well."""
    monkeypatch.setattr("fringe.archive.views.surface_state.MOST_LIKE", 2)
    own = make("own", [-10.0, -8.0])
    for i in range(4):
        make(f"other {i}", [-10.0, -7.0])
    assert len(like_surfaces(own)) == 2


def test_a_large_archive_costs_no_more(make, monkeypatch):
    """So many surfaces are looked at, whatever there are: those that were worked on last."""
    monkeypatch.setattr("fringe.archive.views.surface_state.MOST_LOOKED_AT", 2)
    own = make("own", [-10.0, -8.0])
    others = [
        make(f"other {i}", [-10.0, -7.0 + i], diameter=150.0 if i else 20.0) for i in range(4)
    ]
    for age, i in enumerate((2, 0, 3, 1)):  # the latest but one is not alike
        os.utime(others[i].folder, (1e9 - age, 1e9 - age))
    os.utime(own.folder, (2e9, 2e9))
    (other,) = like_surfaces(own)
    assert other.visits[1].readings[0].height_um == pytest.approx(-5.0 * WAVE / 2000)


def test_the_verdict_as_of_each_visit(make):
    """The verdicts of a state are those that its first visits alone would have had."""
    own = make("own", [-10.0, -4.0, -1.0])
    log_visit(own, Visit(remarks="looked at it"), now=hours(8))
    log_visit(own, Visit(work=Work("polish", 5.0, "tool")), now=hours(9))
    found = survey(own.folder)
    verdicts = surface_state(own).judged.verdicts
    for k in range(1, 6):
        first = Survey(found.sessions[:k], (), (), ())
        assert logged_visits(own, found=first).state().verdict == verdicts[k - 1]
    states = [one and one.state for one in verdicts]
    assert states == ["outside", "outside", "inside", "inside", None]

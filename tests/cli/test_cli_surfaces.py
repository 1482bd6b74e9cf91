"""`fringe surfaces`: what an archive holds, its state and last visits; corrections flow through."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import pytest

from calling import call, refused
from fringe.archive.store.read import session_files
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import change_surface, find_surface
from fringe.archive.store.write import log_visit
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.verdict import Tolerance
from sample_visits import FRINGES_ALONE, full_surface, hours, plain_visit, power_reading
from shared_files import copied_once

POLISH = Work("polish", 30.0, "tool")


NAMES = ("done", "far", "worked", "new")


def logger(surfaces):
    """A function that logs a visit to one of these surfaces, by name."""

    def log(name, hour, power=None, **fields):
        readings = () if power is None else (power_reading(power, 0.1, "edge"),)
        return log_visit(surfaces[name], Visit(when=hours(hour), readings=readings, **fields))

    log.made = surfaces
    return log


def four_surfaces(folder):
    """Four surfaces: finished, far off, worked since the last reading, and new."""
    log = logger({name: full_surface(folder / "shop", name, FRINGES_ALONE) for name in NAMES})
    log("done", 1, -0.5, work=POLISH)
    log("far", 5, -30.0, work=Work("#400", 50.0, "tool"))
    log("worked", 2, -0.5, work=POLISH)
    log("worked", 3, work=POLISH)


@pytest.fixture
def shop(tmp_path, tmp_path_factory, monkeypatch):
    """Four surfaces: finished, far off, worked since the last reading, and new."""
    monkeypatch.chdir(tmp_path)
    copied_once(tmp_path_factory, tmp_path, four_surfaces)
    return logger({name: find_surface(f"{tmp_path}/shop/{name}") for name in NAMES})


def listed(capsys, *words):
    """The surfaces as JSON, by name."""
    values = call(capsys, "surfaces", "shop", *words, "--json").json
    return {one["name"]: one for one in values["surfaces"]}


def test_states_and_last_visits(shop, capsys):
    """Each surface has its state, last visit, work and power; the latest visit stands first."""
    found = listed(capsys)
    assert list(found) == ["far", "worked", "done", "new"]
    assert {name: one["state"] for name, one in found.items()} == {
        "far": "outside",
        "worked": "open",
        "done": "inside",
        "new": "new",
    }
    assert found["far"]["last_visit"] == hours(5).isoformat()
    assert (found["worked"]["visits"], found["worked"]["hours"]) == (2, 1.0)
    assert found["far"]["power_fringes"] == -30.0
    assert found["far"]["stage"] == "#400"
    assert found["new"]["last_visit"] is None


def test_the_table(shop, capsys):
    """The table has a line a surface, with state and date."""
    lines = call(capsys, "surfaces", "shop").out.splitlines()
    (far,) = [line for line in lines if line.startswith("far")]
    for words in ("concave", "outside", "2026-03-14 14:30", "#400", "−30.00 ± 0.10"):
        assert words in far
    assert len([line for line in lines if line.startswith(("far", "worked", "done", "new"))]) == 4


def test_a_narrow_terminal_spares_columns(shop, capsys, monkeypatch):
    """At 60 columns a surface still has one line, with its state, date and power whole."""
    monkeypatch.setenv("COLUMNS", "60")
    lines = call(capsys, "surfaces", "shop").out.splitlines()
    assert max(map(len, lines)) <= 60
    assert len(lines) == 6
    (far,) = [line for line in lines if line.startswith("far")]
    for words in ("outside", "2026-03-14 14:30", "−30.00 ± 0.10"):
        assert words in far
    assert "concave" not in far


def test_a_very_narrow_terminal_keeps_names(shop, capsys, monkeypatch):
    """At 30 columns each surface still has its name and its state."""
    monkeypatch.setenv("COLUMNS", "30")
    lines = call(capsys, "surfaces", "shop").out.splitlines()
    assert max(map(len, lines)) <= 30
    assert {tuple(line.split()) for line in lines[2:]} >= {("far", "outside")}
    assert {line.split()[0] for line in lines[2:]} == {"far", "worked", "done", "new"}


def test_the_same_verdict_as_progress(shop, capsys):
    """State and next step are those that `fringe progress` tells of each surface."""
    found = listed(capsys, "--next")
    for name in ("done", "far", "worked"):
        told = call(capsys, "progress", f"shop/{name}", "--alone", "--json").json
        state = "open" if told["verdict"] is None else told["verdict"]["state"]
        assert found[name]["state"] == state
        assert found[name]["next_step"].startswith(told["next_step"]["action"])


def test_open_ones(shop, capsys):
    """--open leaves out what is proven inside."""
    assert set(listed(capsys, "--open")) == {"far", "worked", "new"}


def test_a_remark_does_not_open_it_again(shop, capsys):
    """A visit that neither read nor worked leaves the state, and is the last visit all the same."""
    log_visit(shop.made["done"], Visit(when=hours(9), remarks="wrapped up"))
    found = listed(capsys)["done"]
    assert (found["state"], found["last_visit"]) == ("inside", hours(9).isoformat())


def test_corrections_flow_through(shop, capsys):
    """A session that replaces one changes list, progress, rates and budget alike."""
    surface = shop.made["far"]
    first = session_files(surface.folder)[0]
    shop("far", 6, -20.0, work=Work("#400", 20.0, "tool"))
    before = call(capsys, "progress", "shop/far", "--json").json
    shop("far", 5, -40.0, replaces=first.stem, work=Work("#400", 50.0, "tool"))
    assert listed(capsys)["far"]["visits"] == 2
    after = call(capsys, "progress", "shop/far", "--json").json
    assert [v["power_fringes"] for v in after["visits"]] == [-40.0, -20.0]
    # twice the change in the same minutes is nearly twice the rate: what is usual counts a little
    rates = [one["rates"][0]["rate_um_h"]["median"] for one in (before, after)]
    assert 1.5 * rates[0] < rates[1] <= 2 * rates[0]
    budget = call(capsys, "budget", "shop/far", "--trials", "0", "--json").json
    assert budget["results"][0]["value"] == pytest.approx(-20.0)


def test_todays_tolerance_judges(shop, capsys):
    """A tolerance that was changed judges the last visit."""
    change_surface(shop.made["far"], tolerance=Tolerance(50.0, wavelength_nm=589.29))
    assert listed(capsys)["far"]["state"] == "inside"


def test_time_zones_are_kept(shop, capsys):
    """A visit keeps the zone it was logged in, in lists, tables and after a move."""
    zone = timezone(timedelta(hours=5, minutes=45))
    when = datetime(2026, 3, 20, 23, 30, tzinfo=zone)
    log_visit(shop.made["new"], Visit(when=when, remarks="looked"))
    assert listed(capsys)["new"]["last_visit"] == "2026-03-20T23:30:00+05:45"
    assert "2026-03-20 23:30" in call(capsys, "surfaces", "shop").out
    assert "23:30" in call(capsys, "progress", "shop/new").out
    call(capsys, "surface", "move", "shop/new", "other")
    told = call(capsys, "progress", "other/new", "--json").json
    assert told["visits"][0]["when"] == "2026-03-20T23:30:00+05:45"


def test_damage_is_named(shop, capsys):
    """A session that cannot be read is named; the others still count."""
    path = session_files(shop.made["far"].folder)[0]
    path.write_bytes(path.read_bytes()[:-3])
    told = call(capsys, "surfaces", "shop")
    assert told.status == 0
    assert path.name in told.err
    assert listed(capsys)["far"]["state"] == "new"


def test_nothing_to_list(tmp_path, monkeypatch, capsys):
    """An archive without surfaces, or with all of them finished, says so."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty").mkdir()
    assert "no surface yet" in call(capsys, "surfaces", "empty").out
    surface = full_surface(tmp_path / "shop", "done", FRINGES_ALONE)
    log_visit(surface, Visit(readings=(power_reading(-0.5, 0.1, "edge"),)))
    assert "every surface is proven inside" in call(capsys, "surfaces", "shop", "--open").out
    assert "gone" in refused(capsys, "surfaces", "gone")


def test_names_are_no_markup(tmp_path, monkeypatch, capsys):
    """Square brackets in a name are printed as they are."""
    monkeypatch.chdir(tmp_path)
    surface = full_surface(tmp_path / "shop", "[red]one[/red]")
    log_visit(surface, plain_visit())
    assert "[red]one[/red]" in call(capsys, "surfaces", "shop").out

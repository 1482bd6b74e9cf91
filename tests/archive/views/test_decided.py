"""What a list of surfaces keeps of its decisions, and when it decides anew."""

from __future__ import annotations

import dataclasses
import hashlib
import shutil
import time

import pytest

from fringe.archive.store import heads
from fringe.archive.store.index import FOLDER, LISTED
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import (
    Surface,
    add_surface,
    change_surface,
    list_surfaces,
    load_surface,
)
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive
from fringe.archive.views import decided
from fringe.archive.views.surface_list import surface_list
from fringe.archive.views.surface_state import LoggedVisits, surface_state
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.verdict import Tolerance
from sample_visits import hours, power_reading

WAVE = 589.29
TOLERANCE = Tolerance(2.0, wavelength_nm=WAVE)


def log(surface, power, hour, **fields):
    reading = power_reading(power, 0.1, "edge", WAVE)
    reading = dataclasses.replace(reading, gap=None, **fields)
    log_visit(
        surface, Visit(readings=(reading,), work=Work("polish", 30.0, "tool")), now=hours(hour)
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Three like surfaces, one of another size, and one made to another."""
    archive = tmp_path_factory.mktemp("made") / "shop"
    for name, diameter in (("a", 150.0), ("b", 140.0), ("c", 130.0), ("small", 30.0)):
        one = Surface(name, "concave", 3048.0, diameter, tolerance=TOLERANCE)
        added = add_surface(archive, one)
        for i in range(2):
            log(added, -20.0 + 6 * i, i)
    add_surface(archive, Surface("partner", "convex", 3048.0, 800.0, tolerance=TOLERANCE))
    own = add_surface(archive, Surface("own", "concave", 3048.0, 800.0))
    log(own, -5.0, 1, against="partner")
    return archive


@pytest.fixture
def shop(made, tmp_path, monkeypatch):
    """These surfaces by name, in an archive of the test's own; an hour later."""
    later = time.time_ns() + 3_600_000_000_000
    monkeypatch.setattr("fringe.archive.store.index.time.time_ns", lambda: later)
    archive = shutil.copytree(made, tmp_path / "shop", copy_function=shutil.copy2)
    return {one.name: one for one in map(load_surface, list_surfaces(archive))}


@pytest.fixture
def worked_out(monkeypatch):
    """Names of the surfaces whose verdict or next step is worked out."""
    names = {"verdict": [], "step": []}
    last, state = LoggedVisits.last, LoggedVisits.state

    def counted_last(self):
        names["verdict"].append(self.surface.name)
        return last(self)

    def counted_state(self, *more, **options):
        names["step"].append(self.surface.name)
        return state(self, *more, **options)

    monkeypatch.setattr(LoggedVisits, "last", counted_last)
    monkeypatch.setattr(LoggedVisits, "state", counted_state)

    def taken():
        found = {kind: sorted(each) for kind, each in names.items()}
        for each in names.values():
            each.clear()
        return found

    return taken


def steps(shop):
    """The next steps of a list, by name."""
    found = surface_list(shop["a"].folder.parent, steps=True)
    return {one.name: one.step for one in found.shown}


def test_the_steps_are_those_of_each_surface(shop):
    """A list says of each surface what its own progress says, others included, kept or not."""
    told = {name: surface_state(one).next_step.text() for name, one in shop.items()}
    assert steps(shop) == told
    assert steps(shop) == told


def test_nothing_is_decided_twice(shop, worked_out):
    """A second list decides nothing; without steps none is worked out."""
    archive = shop["a"].folder.parent
    surface_list(archive)
    assert worked_out() == {"verdict": sorted(shop), "step": []}
    steps(shop)
    assert worked_out() == {"verdict": [], "step": sorted(shop)}
    before = (archive / FOLDER / LISTED).read_bytes()
    steps(shop)
    surface_list(archive)
    assert worked_out() == {"verdict": [], "step": []}
    assert (archive / FOLDER / LISTED).read_bytes() == before


def test_a_visit_decides_what_hangs_on_it(shop, worked_out):
    """A visit decides its surface anew, and the next step of those that learn from it."""
    steps(shop)
    worked_out()
    log(shop["b"], -1.0, 5)
    told = steps(shop)
    assert worked_out() == {"verdict": ["b"], "step": ["a", "b", "c"]}
    assert told == {name: surface_state(one).next_step.text() for name, one in shop.items()}


def test_a_record_decides_what_hangs_on_it(shop, worked_out):
    """Another tolerance decides its surface anew; that of a partner, who is made to it as well."""
    steps(shop)
    worked_out()
    change_surface(shop["partner"], tolerance=dataclasses.replace(TOLERANCE, power_fringes=9.0))
    told = steps(shop)
    assert worked_out()["verdict"] == ["own", "partner"]
    assert told["own"] == surface_state(shop["own"]).next_step.text()


def test_another_program_decides_anew(shop, worked_out, monkeypatch):
    """Where the code that decides is another one, so is every key; entries stay."""
    steps(shop)
    worked_out()
    monkeypatch.setattr(decided, "deciding_code", lambda: "another")
    monkeypatch.setattr("fringe.archive.store.index.entry_of", None)
    steps(shop)
    assert worked_out() == {"verdict": sorted(shop), "step": sorted(shop)}


def test_what_others_teach_enters_in_turn(shop, worked_out, monkeypatch):
    """Of steps that only others' visits changed, a list works out a few; the rest says so."""
    before = steps(shop)
    worked_out()
    monkeypatch.setattr(decided, "_IN_TURN", 1)
    log(shop["b"], -1.0, 5)
    told = {name: surface_state(one).next_step.text() for name, one in shop.items()}
    worked_out()
    first = {one.name: one for one in surface_list(shop["a"].folder.parent, steps=True).shown}
    done = worked_out()["step"]
    assert "b" in done
    assert len(done) == 2
    (waits,) = {"a", "c"} - {*done}
    assert {name: one.behind for name, one in first.items() if one.behind} == {waits: 1}
    assert first[waits].to_json()["next_step_behind"] == 1
    assert {name: one.step for name, one in first.items()} == told | {waits: before[waits]}
    second = surface_list(shop["a"].folder.parent, steps=True)
    assert worked_out()["step"] == [waits]
    assert {one.name: (one.step, one.behind) for one in second.shown} == {
        name: (step, 0) for name, step in told.items()
    }


def test_steps_do_not_fall_far_behind(shop, monkeypatch):
    """Where more of those that taught a surface changed than may wait, its step is worked out."""
    steps(shop)
    monkeypatch.setattr(decided, "_IN_TURN", 0)
    monkeypatch.setattr(decided, "_MOST_BEHIND", 1)
    log(shop["b"], -1.0, 5)
    assert surface_list(shop["a"].folder.parent, steps=True).behind == 2
    log(shop["c"], -1.0, 6)
    found = {one.name: one for one in surface_list(shop["a"].folder.parent, steps=True).shown}
    assert {name: one.behind for name, one in found.items() if one.behind} == {"b": 1}
    assert found["a"].step == surface_state(shop["a"]).next_step.text()


def test_many_steps_on_all_cores(shop, monkeypatch):
    """On several cores the steps are the same."""
    told = steps(shop)
    (shop["a"].folder.parent / FOLDER / LISTED).unlink()
    monkeypatch.setattr(decided, "_FEW", 2)
    monkeypatch.setattr(decided, "cores", lambda: 3)
    monkeypatch.setattr(decided, "run_many", lambda function, parts: [function(p) for p in parts])
    assert steps(shop) == told


def test_a_surface_that_goes_meanwhile(shop, monkeypatch):
    """A surface that is moved away while a list is made is listed without a step; none is kept."""
    listed = heads.list_heads(shop["a"].folder.parent)
    found = decided.Decisions(listed.heads)
    shop["b"].folder.rename(shop["b"].folder.parent / ".b")
    found.add_steps()
    assert (found.of(shop["b"].folder).step, found.of(shop["b"].folder).step_key) == (None, None)


def test_damage_to_the_list_is_noticed(shop):
    """A list with a byte altered is not believed; one that lies with a fitting digest is named."""
    told = steps(shop)
    archive = shop["a"].folder.parent
    place = archive / FOLDER / LISTED
    whole = place.read_bytes()
    place.write_bytes(whole.replace(b'"hours":1.0', b'"hours":7.0'))
    assert steps(shop) == told
    assert place.read_bytes() == whole
    rest = whole.partition(b"\n")[2].replace(b'"hours":1.0', b'"hours":7.0')
    place.write_bytes(heads._first(hashlib.sha256(rest).hexdigest()) + b"\n" + rest)
    problems = check_archive(archive).problems
    assert problems
    assert all(one.startswith(str(place)) for one in problems)


def test_check_works_out_what_the_list_keeps(shop):
    """A verdict or a next step that does not follow from the visits is named, digest or not."""
    steps(shop)
    archive = shop["a"].folder.parent
    assert check_archive(archive).problems == ()
    listed = heads.list_heads(archive).heads
    place = archive / FOLDER / LISTED
    says = f"{place}: it does not say what follows from the visits of {shop['b'].folder.name}"
    for lie in ({"step": "grind about 9 min"}, {"state": "inside"}, {"probability": 0.5}):
        forged = [
            dataclasses.replace(one, decided={**one.decided, **lie})
            if one.folder == shop["b"].folder
            else one
            for one in listed
        ]
        heads.keep_heads(archive, forged)
        assert check_archive(archive).problems == (f"{says}; remove it",), lie
    place.unlink()
    assert check_archive(archive).problems == ()

"""The order of visits, and corrections in the place of what they correct."""

from __future__ import annotations

import dataclasses

import pytest

from fringe.archive.store.order import in_order, list_sessions, survey
from fringe.archive.store.read import find_session, read_summary
from fringe.archive.store.session import SessionSummary, Visit
from fringe.archive.store.write import log_visit
from fringe.errors import BadInput
from sample_visits import full_surface, hours, plain_visit


@pytest.fixture
def surface(tmp_path):
    """A surface with every field of its record."""
    return full_surface(tmp_path / "shop")


@pytest.fixture
def log(surface):
    """Log a remark at a time of the clock; return the session's identity."""

    def write(remark, clock, **fields):
        return log_visit(surface, Visit(remarks=remark, **fields), now=hours(clock)).stem

    return write


def remarks(surface):
    """The visits that count, by their remarks."""
    return [session.remarks for session in list_sessions(surface.folder)]


def test_a_clock_that_goes_back(surface, log):
    """Visits stay in the order of logging when the clock is set back by years."""
    log("a", 0)
    log("b", -30_000)
    log("c", 1)
    assert remarks(surface) == ["a", "b", "c"]
    assert [s.sequence for s in list_sessions(surface.folder)] == [1, 2, 3]


def test_times_given_by_hand(surface, log):
    """Visits from a notebook are put where their given times say, in any order of logging."""
    log("at 10", 10)
    log("at 5", 11, when=hours(5))
    log("at 12", 12)
    log("at 7", 13, when=hours(7))
    log("at 1", 13.5, when=hours(1))
    log("at 14", 14)
    assert remarks(surface) == ["at 1", "at 5", "at 7", "at 10", "at 12", "at 14"]


def test_a_chain_of_corrections(surface, log):
    """The last correction of a chain counts, in the place and at the time of the first session."""
    log("a", 0)
    wrong = log("b, wrong", 1)
    log("c", 2)
    better = log("b, better", 3, replaces=wrong)
    log("b, right", 4, replaces=better)
    log("d", 5)
    assert remarks(surface) == ["a", "b, right", "c", "d"]
    assert list_sessions(surface.folder)[1].when == hours(1)
    found = survey(surface.folder)
    assert len(found.all_sessions) == 6
    assert found.problems == ()


def test_a_correction_with_a_time_of_its_own(surface, log):
    """A correction that is given another time stands where that says."""
    first = log("a", 0)
    log("b", 1)
    log("a, at 2", 3, replaces=first, when=hours(2))
    assert remarks(surface) == ["b", "a, at 2"]


def test_a_correction_of_a_notebook_visit(surface, log):
    """A correction of a visit with a given time keeps that visit's place."""
    log("at 10", 10)
    early = log("at 5", 11, when=hours(5))
    log("at 5, right", 12, replaces=early)
    assert remarks(surface) == ["at 5, right", "at 10"]


def test_what_was_corrected_is_corrected_no_more(surface, log):
    """Correcting a session twice is refused; the line names the one to correct."""
    first = log("a", 0)
    second = log("b", 1, replaces=first)
    with pytest.raises(BadInput, match=second):
        log("c", 2, replaces=first)
    assert remarks(surface) == ["b"]


@pytest.mark.parametrize("short", ["1", "0001", "0001_2026", "{}", "{}.h5", "some/where/{}.h5"])
def test_ways_to_name_a_session(surface, log, short):
    """A session is named by its number, identity, file, or the start of these."""
    first = log("a", 0)
    log("b", 1)
    assert find_session(surface.folder, short.format(first)).stem == first


@pytest.mark.parametrize("text", ["", "3", "0", "9999", "..", "*", "0003_2026"])
def test_sessions_that_are_not_there(surface, log, text):
    """A name that fits no session is refused."""
    log("a", 0)
    log("b", 1)
    with pytest.raises(BadInput, match="no session"):
        find_session(surface.folder, text)


def test_a_name_that_fits_two(surface, log):
    """A number that two sessions share, as after two archives were joined, is refused."""
    first = log("a", 0)
    other = first[:-6] + "zzzzzz"
    (surface.folder / f"{other}.h5").write_bytes((surface.folder / f"{first}.h5").read_bytes())
    with pytest.raises(BadInput, match=f"{first}, {other}"):
        find_session(surface.folder, "1")


def summaries(tmp_path, *links):
    """Sessions in their order of logging from (identity, what it replaces)."""
    return [
        SessionSummary(
            session_id=name,
            sequence=i,
            when=hours(i),
            when_given=False,
            logged_at=hours(i),
            place=tmp_path / f"{name}.h5",
            replaces=replaces,
            remarks=name,
        )
        for i, (name, replaces) in enumerate(links, 1)
    ]


def test_a_correction_of_what_is_missing(tmp_path):
    """It counts in its own place, and is named as a problem."""
    found, problems = in_order(summaries(tmp_path, ("a", None), ("b", "gone"), ("c", "b")))
    assert [s.session_id for s in found] == ["a", "c"]
    assert len(problems) == 1
    assert "b.h5: corrects gone, which is missing" in problems[0]


def test_a_fork_of_corrections(tmp_path):
    """Of two corrections of one session, made at the same time, the later one counts."""
    found, problems = in_order(summaries(tmp_path, ("a", None), ("b", "a"), ("c", "a")))
    assert [s.session_id for s in found] == ["c"]
    assert len(problems) == 1
    assert "as does b" in problems[0]


@pytest.mark.parametrize(
    "links",
    [[("a", "a")], [("a", "b"), ("b", "a")], [("a", "c"), ("b", "a"), ("c", "b"), ("d", "b")]],
)
def test_a_circle_of_corrections(tmp_path, links):
    """Sessions that correct each other in a circle end in one visit and a named problem."""
    found, problems = in_order(summaries(tmp_path, *links))
    assert len(found) == 1
    assert found[0].session_id == links[-1][0]
    assert any("circle" in problem for problem in problems)


def test_the_same_session_twice(tmp_path):
    """A copy of a session under another name counts once, and is named."""
    (one,) = summaries(tmp_path, ("a", None))
    copy = dataclasses.replace(one, place=tmp_path / "copy.h5")
    found, problems = in_order([one, copy])
    assert len(found) == 1
    assert "copy.h5: holds the same session as a.h5" in problems[0]


def test_order_does_not_depend_on_the_folder(tmp_path, rng):
    """Any order of reading the files gives the same visits."""
    links = [("a", None), ("b", "a"), ("c", None), ("d", "c"), ("e", "d"), ("f", None)]
    sessions = summaries(tmp_path, *links)
    expected = in_order(sessions)
    for _ in range(10):
        assert in_order([sessions[i] for i in rng.permutation(len(sessions))]) == expected


def test_one_damaged_session_hides_no_other(surface, log):
    """The others are listed and the damaged one is named; asking for all is refused."""
    first = log("a", 0)
    log("b", 1)
    path = surface.folder / f"{first}.h5"
    path.write_bytes(path.read_bytes()[:700])
    found = survey(surface.folder)
    assert [s.remarks for s in found.sessions] == ["b"]
    assert len(found.problems) == 1
    assert path.name in found.problems[0]
    with pytest.raises(BadInput, match=path.name):
        list_sessions(surface.folder)


def test_logging_goes_on_beside_a_damaged_session(surface, log):
    """A damaged session takes up its number but does not stop the next one."""
    first = log("a", 0)
    (surface.folder / f"{first}.h5").write_bytes(b"")
    second = log("b", 1)
    summary = read_summary(surface.folder / f"{second}.h5")
    assert (summary.sequence, summary.previous_session) == (2, first)


def test_leftovers_are_ignored_and_named(surface, log):
    """A partial file of a killed writer is no session; its number is not used again."""
    log("a", 0)
    (surface.folder / ".0002.partial").write_bytes(b"half of a session")
    log("b", 1)
    found = survey(surface.folder)
    assert [(s.remarks, s.sequence) for s in found.sessions] == [("a", 1), ("b", 3)]
    assert [p.name for p in found.leftovers] == [".0002.partial"]
    assert found.problems == ()


def test_an_empty_surface(surface):
    """A surface without visits has none, and no problem."""
    found = survey(surface.folder)
    assert (found.sessions, found.problems, found.leftovers) == ((), (), ())
    assert plain_visit().readings == ()

"""The order of visits, and corrections in the place of what they correct."""

from __future__ import annotations

import dataclasses

import pytest

from fringe.archive.store.order import find_visit, in_order, list_sessions, survey, visits_of
from fringe.archive.store.read import read_summary
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


def test_two_corrections_at_once(surface, log):
    """Both are kept, the later one holds, the survey says so, and a third settles it."""
    first = log("a", 0)
    log("b", 1, replaces=first)
    log("c", 2, replaces=first)  # of somebody who saw the visit as it was before b
    assert remarks(surface) == ["c"]
    (problem,) = survey(surface.folder).problems
    assert "corrects visit 1, as does 0002_" in problem
    assert "--replaces 1` settles it" in problem
    log("d", 3, replaces="1")
    assert remarks(surface) == ["d"]
    assert survey(surface.folder).problems == ()
    (visit,) = survey(surface.folder).visits
    assert [one.remarks for one in visit.sessions] == ["a", "b", "c", "d"]


def test_numbers_count_visits_and_not_corrections(surface, log):
    """A visit's number counts the visits in the order of logging, and corrections keep it."""
    first = log("a", 0)
    log("b", 1)
    log("a, right", 2, replaces="1")
    log("c", 3)
    log("a, at last", 4, replaces="1")
    log("early", 5, when=hours(-5))
    found = survey(surface.folder)
    numbers = {one.remarks: one.number for one in found.sessions}
    assert numbers == {"early": 4, "a, at last": 1, "b": 2, "c": 3}
    assert [one.remarks for one in found.sessions] == ["early", "a, at last", "b", "c"]
    assert [one.number for one in found.all_sessions] == [1, 2, 1, 3, 1, 4]
    assert [one.corrected for one in found.sessions] == [False, True, False, False]
    assert find_visit(surface.folder, first).number == 1


def test_numbers_do_not_move_when_a_file_is_lost(surface, log):
    """A file that is damaged or gone changes no other visit's number, nor the next one."""
    first = log("a", 0)
    second = log("b", 1)
    log("c", 2)
    log("b, right", 3, replaces=second)
    (surface.folder / f"{first}.h5").write_bytes(b"")
    (surface.folder / f"{second}.h5").unlink()
    log("d", 4)
    numbers = {one.remarks: one.number for one in survey(surface.folder).sessions}
    assert numbers == {"c": 3, "b, right": 2, "d": 4}


def test_numbers_of_sessions_that_carry_none(tmp_path):
    """Sessions of earlier versions are numbered by their order; new ones go on from there."""
    old = summaries(tmp_path, ("a", None), ("b", "a"), ("c", None))
    (new,) = summaries(tmp_path, ("d", None))
    new = dataclasses.replace(new, sequence=7, written_number=3)
    visits, _, highest = visits_of([*old, new], unread=[])
    assert [(one.number, one.current.session_id) for one in visits] == [
        (1, "b"),
        (2, "c"),
        (3, "d"),
    ]
    assert highest == 3
    visits, _, highest = visits_of(old, unread=[3, 9])
    assert [one.number for one in visits] == [1, 3]
    assert highest == 4


def test_two_visits_written_with_one_number(tmp_path):
    """Where a file system has no locks: the later one gets the next number that is free."""
    made = [
        dataclasses.replace(one, written_number=number)
        for one, number in zip(
            summaries(tmp_path, ("a", None), ("b", None), ("c", None)), (1, 1, 2), strict=True
        )
    ]
    visits, _, highest = visits_of(made)
    assert [(one.number, one.current.session_id) for one in visits] == [
        (1, "a"),
        (3, "b"),
        (2, "c"),
    ]
    assert highest == 3


@pytest.mark.parametrize("short", ["1", "0001", "0001_2026", "{}", "{}.h5", "some/where/{}.h5"])
def test_ways_to_name_a_session(surface, log, short):
    """A visit is named by its number, or by a session's identity, file, or the start of these."""
    first = log("a", 0)
    log("b", 1)
    assert find_visit(surface.folder, short.format(first)).current.session_id == first


@pytest.mark.parametrize("text", ["", "3", "0", "9999", "..", "*", "0003_2026"])
def test_sessions_that_are_not_there(surface, log, text):
    """A name that fits no session is refused."""
    log("a", 0)
    log("b", 1)
    with pytest.raises(BadInput, match="no visit"):
        find_visit(surface.folder, text)


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
    assert "corrects visit 1, as does b" in problems[0]


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

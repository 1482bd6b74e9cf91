"""The visits of a surface in their order, corrections in the place of what they correct."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from fringe.archive.store.read import read_summary, session_files
from fringe.archive.store.session import SessionSummary
from fringe.errors import BadInput
from fringe.files import PARTIAL


@dataclass(frozen=True)
class Survey:
    """All that a surface's folder holds.

    Attributes
    ----------
    sessions : tuple of SessionSummary
        The visits that count, in their order.
    all_sessions : tuple of SessionSummary
        Those that were corrected as well, in the order of logging.
    problems : tuple of str
        One line each: sessions that cannot be read, and corrections that do not fit.
    leftovers : tuple of Path
        Partial files of writers that were killed, or that write just now.
    """

    sessions: tuple[SessionSummary, ...]
    all_sessions: tuple[SessionSummary, ...]
    problems: tuple[str, ...]
    leftovers: tuple[Path, ...]


def list_sessions(folder: Path) -> list[SessionSummary]:
    """Read the visits of a surface that count, in their order.

    Raises
    ------
    BadInput
        If one of them cannot be read; :func:`survey` reads the others.
    """
    return list(in_order([read_summary(path) for path in session_files(folder)])[0])


def survey(folder: Path) -> Survey:
    """Read what can be read of a surface's sessions, and name the rest.

    Raises
    ------
    BadInput
        If the folder itself cannot be read.
    """
    summaries, problems = [], []
    for path in session_files(folder):
        try:
            summaries.append(read_summary(path))
        except BadInput as error:
            problems.append(str(error))
    return survey_of(folder, summaries, problems)


def survey_of(
    folder: Path, summaries: Sequence[SessionSummary], problems: Sequence[str] = ()
) -> Survey:
    """Put together what was read of a folder's sessions, and what could not be."""
    sessions, misfits = in_order(summaries)
    leftovers = sorted(p for p in folder.iterdir() if p.name.endswith(PARTIAL))
    return Survey(
        sessions, tuple(sorted(summaries, key=_logged)), (*problems, *misfits), tuple(leftovers)
    )


def in_order(
    summaries: Sequence[SessionSummary],
) -> tuple[tuple[SessionSummary, ...], tuple[str, ...]]:
    """Put sessions in the order of their visits and apply corrections.

    Visits stand in the order in which they were logged, so that a clock that goes back
    changes nothing; only a visit whose time was given by hand is put where that time says.
    A correction takes the place of the first session of its chain, and its time too unless
    it is given another.

    Parameters
    ----------
    summaries : sequence of SessionSummary
        All sessions of a surface, in any order.

    Returns
    -------
    sessions : tuple of SessionSummary
        Those that count.
    problems : tuple of str
        One line for each correction that does not fit.
    """
    by_id, problems = _unique(sorted(summaries, key=_logged))
    roots: dict[str, list[SessionSummary]] = {}
    for session in by_id.values():
        root, problem = _root(session, by_id)
        problems += [problem] if problem else []
        roots.setdefault(root, []).append(session)
    problems += _forks(by_id.values())
    places = sorted(roots, key=lambda root: _logged(by_id[root]))
    return _by_time([max(roots[root], key=_logged) for root in places]), tuple(problems)


def _logged(session: SessionSummary) -> tuple[int, str]:
    return session.sequence, session.session_id


def _unique(
    summaries: Sequence[SessionSummary],
) -> tuple[dict[str, SessionSummary], list[str]]:
    by_id: dict[str, SessionSummary] = {}
    problems = []
    for session in summaries:
        if session.session_id in by_id:
            other = by_id[session.session_id].place.name
            problems.append(f"{session.place}: holds the same session as {other}; one is left out")
        else:
            by_id[session.session_id] = session
    return by_id, problems


def _root(session: SessionSummary, by_id: Mapping[str, SessionSummary]) -> tuple[str, str | None]:
    """The first session of a chain of corrections, and what is wrong with this link of it."""
    seen = {session.session_id}
    first, problem = session, None
    while first.replaces is not None:
        if first.replaces in seen:  # no writer makes this
            problem = f"{session.place}: corrects itself in a circle"
            return _earliest_of_circle(first, by_id), problem
        if first.replaces not in by_id:
            if first is session:
                problem = f"{session.place}: corrects {first.replaces}, which is missing"
            break
        first = by_id[first.replaces]
        seen.add(first.session_id)
    return first.session_id, problem


def _earliest_of_circle(session: SessionSummary, by_id: Mapping[str, SessionSummary]) -> str:
    circle = {session.session_id}
    following = session.replaces
    while following is not None and following not in circle:
        circle.add(following)
        following = by_id[following].replaces
    return min(circle)


def _forks(sessions: Iterable[SessionSummary]) -> list[str]:
    corrected: dict[str, str] = {}
    problems = []
    for session in sessions:
        if session.replaces is None:
            continue
        if session.replaces in corrected:
            problems.append(
                f"{session.place}: corrects {session.replaces}, as does "
                f"{corrected[session.replaces]}; the one logged last counts"
            )
        corrected[session.replaces] = session.session_id
    return problems


def _by_time(sessions: Sequence[SessionSummary]) -> tuple[SessionSummary, ...]:
    """Put sessions whose time was given by hand among the others, where it says."""
    order = [session for session in sessions if not session.when_given]
    for session in sessions:
        if session.when_given:
            place = len(order)
            while place > 0 and order[place - 1].when > session.when:
                place -= 1
            order.insert(place, session)
    return tuple(order)

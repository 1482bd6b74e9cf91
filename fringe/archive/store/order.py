"""The visits of a surface: their numbers, their order, and which session of each one counts.

A visit is a session that corrects none, with all that correct it. Its number counts the visits
in the order of logging; it is written in each of its sessions, so that no loss of another file
changes it. Sessions of earlier versions carry none: theirs follows from their order.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fringe.archive.store import hdf5, layout
from fringe.archive.store.kept_summaries import read_summaries
from fringe.archive.store.names import PLATE_SUFFIX
from fringe.archive.store.read import read_summary, session_files
from fringe.archive.store.session import SessionSummary
from fringe.errors import BadInput
from fringe.files import PARTIAL


@dataclass(frozen=True)
class VisitSessions:
    """A visit with all its sessions.

    Attributes
    ----------
    number : int
        Of the visit.
    sessions : tuple of SessionSummary
        All of them, in the order of logging.
    latest : tuple of SessionSummary
        Those that no other corrects: one, or several where corrections were made at once.
    """

    number: int
    sessions: tuple[SessionSummary, ...]
    latest: tuple[SessionSummary, ...]

    @property
    def struck(self) -> bool:
        """Whether it is taken out of every sum."""
        return self.current.struck

    @property
    def current(self) -> SessionSummary:
        """The session that counts: of several latest ones, the one that was logged last."""
        return self.latest[-1]


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
    visits : tuple of VisitSessions
        Every visit with its sessions, in the order of logging.
    highest : int
        The highest number of a visit, files that cannot be read counted as visits.
    """

    sessions: tuple[SessionSummary, ...]
    all_sessions: tuple[SessionSummary, ...]
    problems: tuple[str, ...]
    leftovers: tuple[Path, ...]
    visits: tuple[VisitSessions, ...] = ()
    highest: int = 0


def list_sessions(folder: Path) -> list[SessionSummary]:
    """Read the visits of a surface that count, in their order.

    Raises
    ------
    BadInput
        If one of them cannot be read; :func:`survey` reads the others.
    """
    return list(in_order([read_summary(path) for path in session_files(folder)])[0])


def survey(folder: Path, *more: SessionSummary, anew: bool = False) -> Survey:
    """Read what can be read of a surface's sessions, and name the rest.

    Of files that have not changed since, what was read before is taken from the index.

    Parameters
    ----------
    folder : Path
        The surface's.
    *more : SessionSummary
        Sessions that are not on disk yet.
    anew : bool
        Open every file, whatever the index says.

    Raises
    ------
    BadInput
        If the folder itself cannot be read.
    """
    summaries, problems = read_summaries(folder, anew=anew)
    return survey_of(folder, [*more, *summaries], problems)


def survey_of(
    folder: Path, summaries: Sequence[SessionSummary], problems: Sequence[str] = ()
) -> Survey:
    """Put together what was read of a folder's sessions, and what could not be."""
    read = {summary.place for summary in summaries}
    unread = [number_in_name(path) for path in session_files(folder) if path not in read]
    visits, misfits, highest = visits_of(summaries, unread)
    leftovers = sorted(p for p in folder.iterdir() if p.name.endswith(PARTIAL))
    numbers = {one.session_id: one.number for visit in visits for one in visit.sessions}
    return Survey(
        _counting(visits),
        tuple(
            replace(one, number=numbers.get(one.session_id, 0))
            for one in sorted(summaries, key=_logged)
        ),
        (*problems, *misfits),
        tuple(leftovers),
        visits,
        highest,
    )


def number_in_name(path: Path) -> int | None:
    """Sequence number that a session's file is named by; None for any other file."""
    match = layout.SESSION_FILE.match(path.name)
    return None if match is None else int(match[1])


def highest_number(folder: Path, *, alone: bool) -> int:
    """The highest number of a visit to a surface.

    Parameters
    ----------
    folder : Path
        The surface's.
    alone : bool
        Nobody else writes; each session then tells how many visits there were with it, so that
        the last one is enough, however many there are.
    """
    after = 0
    for path in reversed(session_files(folder)) if alone else ():
        if number_in_name(path) is None:
            continue
        try:
            with hdf5.opened(path) as file:
                visits = hdf5.whole(file, "visits")
        except BadInput:  # it may have been a visit
            after += 1
            continue
        if visits is None:  # of an earlier version
            break
        return visits + after
    return survey(folder).highest


def find_visit(folder: Path, text: str) -> VisitSessions:
    """Find a visit by its number, or by the name of one of its sessions or the start of that.

    Raises
    ------
    BadInput
        If there is none, or more than one.
    """
    visits = survey(folder).visits
    wanted = Path(text).name.removesuffix(layout.SUFFIX)
    if wanted.isdecimal():
        found = [one for one in visits if one.number == int(wanted)]
    else:
        found = [one for one in visits if wanted in _names(one)]
        if not found and wanted:
            found = [v for v in visits if any(n.startswith(wanted) for n in _names(v))]
    if len(found) == 1:
        return found[0]
    if found:
        names = ", ".join(one.sessions[0].session_id for one in found[:5])
        raise BadInput(f"{folder}: {text!r} may be any of {names}; give more of the name")
    known = f"it has {_range(visits)}" if visits else "it has none yet"
    lists = "fringe plate show" if folder.name.endswith(PLATE_SUFFIX) else "fringe progress"
    raise BadInput(f"{folder}: there is no visit {text!r}; {known}; `{lists}` lists them")


def _names(visit: VisitSessions) -> list[str]:
    return [one.session_id for one in visit.sessions]


def _range(visits: Sequence[VisitSessions]) -> str:
    first, last = visits[0].number, max(visit.number for visit in visits)
    return f"visit {first}" if first == last else f"visits {first} to {last}"


def in_order(
    summaries: Sequence[SessionSummary],
) -> tuple[tuple[SessionSummary, ...], tuple[str, ...]]:
    """Put sessions in the order of their visits and apply corrections.

    Visits stand in the order in which they were logged, so that a clock that goes back
    changes nothing; only a visit whose time was given by hand is put where that time says.
    A correction takes the place of the first session of its chain, and its time too unless
    it is given another. A visit that was struck out is left out.

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
    visits, problems, _ = visits_of(summaries)
    return _counting(visits), problems


def _counting(visits: Sequence[VisitSessions]) -> tuple[SessionSummary, ...]:
    return _by_time([visit.current for visit in visits if not visit.struck])


def visits_of(
    summaries: Sequence[SessionSummary], unread: Sequence[int | None] = ()
) -> tuple[tuple[VisitSessions, ...], tuple[str, ...], int]:
    """Gather sessions into visits, and number those.

    Parameters
    ----------
    summaries : sequence of SessionSummary
        All sessions of a surface that can be read, in any order.
    unread : sequence of (int or None)
        Sequence numbers of the others, by their files' names.

    Returns
    -------
    visits : tuple of VisitSessions
        In the order of logging.
    problems : tuple of str
        One line for each correction that does not fit.
    highest : int
        The highest number, files that cannot be read counted as visits.
    """
    by_id, problems = _unique(sorted(summaries, key=_logged))
    chains: dict[str, list[SessionSummary]] = {}
    for session in by_id.values():
        root, problem = _root(session, by_id)
        problems += [problem] if problem else []
        chains.setdefault(_same_visit(by_id[root], chains, by_id), []).append(session)
    places = sorted(chains, key=lambda root: _logged(by_id[root]))
    numbers, highest = _numbers([by_id[root] for root in places], unread)
    visits = []
    for root in places:
        visit = _visit(chains[root], numbers[root])
        problems += _forks(visit)
        visits.append(visit)
    return tuple(visits), tuple(problems), highest


def _same_visit(
    root: SessionSummary, chains: Mapping[str, object], by_id: Mapping[str, SessionSummary]
) -> str:
    """Of corrections whose first session is missing: the chain of the same visit, by its number."""
    if root.replaces is None or root.written_number is None:
        return root.session_id
    same = (
        name
        for name in chains
        if by_id[name].replaces is not None and by_id[name].written_number == root.written_number
    )
    return next(same, root.session_id)


def _numbers(
    roots: Sequence[SessionSummary], unread: Sequence[int | None]
) -> tuple[dict[str, int], int]:
    """Number of each visit by its first session, and the highest of all."""
    written = {root.written_number for root in roots} - {None}
    numbers: dict[str, int] = {}
    taken: set[int] = set()
    twice: list[str] = []
    last = 0
    places = [(*_logged(root), root) for root in roots]
    gaps = [(sequence, "", None) for sequence in unread if sequence is not None]
    for _, name, root in sorted([*places, *gaps], key=lambda place: place[:2]):
        number = None if root is None else root.written_number
        if number is None:
            last += 1
            while root is not None and last in written:
                last += 1
            number = last
        elif number in taken:
            twice.append(name)
            continue
        last = max(last, number)
        if root is not None:
            numbers[name] = number
            taken.add(number)
    for name in twice:  # written at the same moment where the file system has no locks
        last += 1
        numbers[name] = last
    return numbers, last


def _visit(chain: Sequence[SessionSummary], number: int) -> VisitSessions:
    superseded = {name for one in chain for name in (one.replaces, *one.also_replaces)}
    fixed = any(not one.struck for one in chain[1:])
    numbered = tuple(replace(one, number=number, corrected=fixed) for one in chain)
    latest = tuple(one for one in numbered if one.session_id not in superseded)
    return VisitSessions(number, numbered, latest or numbered[-1:])


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


def _forks(visit: VisitSessions) -> Iterable[str]:
    """Corrections of one visit that know nothing of each other; a later one of both settles it."""
    *earlier, last = visit.latest
    for one in earlier:
        yield (
            f"{last.place}: corrects visit {visit.number}, as does {one.session_id}, and neither "
            "knew of the other; the one logged last holds; `fringe log ... --replaces "
            f"{visit.number}` settles it"
        )


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

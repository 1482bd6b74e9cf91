"""A surface's sessions for a report: each opened once and proven; what is damaged is named."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fringe.archive.store.ledger import read_ledger
from fringe.archive.store.order import Survey, survey_of
from fringe.archive.store.read import open_session, prove_session, session_files
from fringe.archive.store.session import Session, SessionSummary
from fringe.archive.store.surface import Surface
from fringe.archive.views.surface_state import SurfaceState, logged_visits
from fringe.errors import BadInput

Tell = Callable[[int, int], None]


@dataclass(frozen=True)
class Proof:
    """Sessions of a surface whose bytes are as they were written.

    Attributes
    ----------
    surface : Surface
        Its record.
    found : Survey
        All sessions whose summary can be read, those that are damaged further on as well.
    sessions : tuple of SessionSummary
        Visits that count and are proven, the earliest first.
    opened : mapping of Path to Session
        Every proven session by its file, without its photographs.
    damaged : mapping of Path to str
        One line for each of the others.
    problems : tuple of str
        One line each: sessions that cannot be read or are not as they were written.
    subject : Session or None
        The last one that holds what was asked for, with its photographs.
    last : Session or None
        The last one, with its photographs.
    files : int
        How many files there were.
    """

    surface: Surface
    found: Survey
    sessions: tuple[SessionSummary, ...]
    opened: Mapping[Path, Session]
    damaged: Mapping[Path, str]
    problems: tuple[str, ...]
    subject: Session | None
    last: Session | None
    files: int

    @property
    def digests(self) -> dict[str, str]:
        """SHA-256 of the content of each visit that counts, by its session's id."""
        opened = self.opened
        return {one.session_id: opened[one.place].content_sha256 for one in self.sessions}

    def state(self) -> SurfaceState:
        """The state of the surface by the proven sessions alone."""
        found = replace(self.found, sessions=self.sessions, problems=self.problems)
        return logged_visits(self.surface, found=found).state()


def prove(surface: Surface, asked: Callable[[Session], bool], tell: Tell | None = None) -> Proof:
    """Open every session of a surface, once; opening proves its bytes.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder.
    asked : callable
        Whether a session may be the subject of the report.
    tell : callable or None
        Told how many steps are done, of how many; one step is left over at the end.

    Returns
    -------
    Proof

    Raises
    ------
    BadInput
        If the surface has no folder, or it cannot be read.
    """
    if surface.folder is None:
        raise BadInput(f"surface {surface.name!r}: it is in no archive yet; add it first")
    summaries, unread = [], []
    opened: dict[Path, Session] = {}
    damaged: dict[Path, str] = {}
    shown = _Shown(asked)
    files = session_files(surface.folder)
    for number, path in enumerate(files, 1):
        try:
            summary, session = prove_session(path)
        except BadInput as error:
            unread.append(str(error))
        else:
            summaries.append(summary)
            if isinstance(session, Session):
                shown.add(session)
                opened[path] = replace(session, visit=replace(session.visit, photographs=()))
            else:
                damaged[path] = str(session)
        if tell is not None:
            tell(number, len(files) + 1)
    found = survey_of(surface.folder, summaries, unread)
    sound = tuple(one for one in found.sessions if one.place in opened)
    lines = [damaged[one.place] for one in found.sessions if one.place in damaged]
    return Proof(
        surface=surface,
        found=found,
        sessions=sound,
        opened=opened,
        damaged=damaged,
        problems=(*found.problems, *lines),
        subject=shown.last_of([one for one in sound if one.place in shown.asked]),
        last=shown.last_of(sound),
        files=len(files),
    )


def history_digest(surface: Surface) -> str:
    """Digest of the whole history of the archive that a surface lies in; empty where it has none.

    `fringe check ARCHIVE --expect DIGEST` proves later that this history is still contained.
    """
    assert surface.folder is not None
    try:
        ledger = read_ledger(surface.folder.parent)
    except BadInput:
        return ""  # `fringe check` says why
    return ledger.digest if ledger.lines else ""


class _Shown:
    """Whole sessions that a report may show; no more than two, since each holds photographs."""

    def __init__(self, asked: Callable[[Session], bool]) -> None:
        self._wanted = asked
        self._whole: dict[bool, Session] = {}
        self.asked: set[Path] = set()

    def add(self, session: Session) -> None:
        """Look at a session, and keep it where it is later than those before."""
        wanted = self._wanted(session)
        if wanted:
            self.asked.add(session.summary.place)
        for kind in {wanted, False}:
            last = self._whole.get(kind)
            if last is None or last.summary.when <= session.summary.when:
                self._whole[kind] = session

    def last_of(self, visits: Sequence[SessionSummary]) -> Session | None:
        """The last of these visits, whole; opened again only where a correction undid a later."""
        if not visits:
            return None
        place = visits[-1].place
        kept = [one for one in self._whole.values() if one.summary.place == place]
        return kept[0] if kept else open_session(place)

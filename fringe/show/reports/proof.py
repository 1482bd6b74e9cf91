"""A surface's sessions for a report: each proven first, what is damaged left out and named."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fringe.archive.store.order import Survey, survey
from fringe.archive.store.read import open_session
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
    sessions : tuple of SessionSummary
        The earliest first.
    digests : dict of str to str
        SHA-256 of each one's content, by its id.
    problems : tuple of str
        One line each: sessions that cannot be read or are not as they were written.
    subject : Session or None
        The last one that holds what was asked for.
    last : Session or None
        The last one.
    """

    sessions: tuple[SessionSummary, ...]
    digests: dict[str, str]
    problems: tuple[str, ...]
    subject: Session | None
    last: Session | None

    def state(self, surface: Surface) -> SurfaceState:
        """The state of the surface by these sessions alone."""
        found = Survey(self.sessions, self.sessions, self.problems, ())
        return logged_visits(surface, found=found).state()


def prove(surface: Surface, asked: Callable[[Session], bool], tell: Tell | None = None) -> Proof:
    """Open every session of a surface; opening proves its bytes.

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
    found = survey(surface.folder)
    digests, damaged, sound = {}, [], []
    subject = last = None  # no more than these two, since each holds its photographs
    for number, summary in enumerate(found.sessions, 1):
        try:
            session = open_session(summary.place)
        except BadInput as error:
            damaged.append(str(error))
        else:
            digests[summary.session_id] = session.content_sha256
            sound.append(summary)
            last = session
            subject = session if asked(session) else subject
        if tell is not None:
            tell(number, len(found.sessions) + 1)
    return Proof(tuple(sound), digests, (*found.problems, *damaged), subject, last)

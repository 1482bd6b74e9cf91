"""The visit in progress: a surface, a lamp, photographs with their readings; and its logging."""

from __future__ import annotations

import hashlib
import math
import secrets
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from fringe.archive.instruments import find_lamp
from fringe.archive.store.surface import Surface
from fringe.archive.views.changed_visits import log_or_change, strike_visit
from fringe.archive.views.laid import as_laid
from fringe.archive.views.logged_visit import log_and_judge
from fringe.archive.views.reading_options import with_camera
from fringe.archive.views.surface_state import LoggedVisits, logged_visits
from fringe.archive.views.visit_request import VisitRequest
from fringe.bench.at_hand import all_said, bench_visit, told_of
from fringe.bench.film import shot_of
from fringe.bench.kept import MOST_REMEMBERED, NOTHING, Content, KeptBench
from fringe.bench.logged_once import LoggedOnce, was_logged
from fringe.bench.on_record import begun_archive, surface_named
from fringe.bench.readings import Readings
from fringe.bench.settings import SENSES, Settings
from fringe.bench.shots import Shot
from fringe.bench.taken import Taken
from fringe.bench.undo import UNDO_S, UNDONE, Undoable
from fringe.bench.view import bench_view
from fringe.bench.worker import Reader
from fringe.errors import BadInput
from fringe.orders.options import StatedOptions
from fringe.photo.ellipse import Edge

MOST_SHOTS = 24
MOST_BYTES = 400_000_000


class FullBench(BadInput):
    """There is no room for another photograph; the device may send it again later."""


class OtherVisit(BadInput):
    """A photograph was taken for another visit than the one on the bench."""


class Desk:
    """The visit in progress, shared by all devices. Safe to call from any thread.

    Parameters
    ----------
    archive : Path
        The archive to log into; a folder that is empty, or not there, becomes a new one.
    reader : Reader
        Reads the photographs.

    Raises
    ------
    BadInput
        If the folder holds no surface and other files.
    """

    def __init__(self, archive: Path, reader: Reader) -> None:
        self.archive = archive
        self._lock = threading.RLock()
        self._readings = Readings(reader, self._lock, self._reading_changed)
        # another number after each start, so that no device takes the new bench for the old one
        self._changed = time.time_ns() // 1_000_000
        self._shots: list[Shot] = []
        self._taken = NOTHING
        self._logged: dict[str, LoggedOnce] = {}
        self._begun: dict[str, str | None] = {}
        self._cache: tuple[tuple[Path, int], LoggedVisits] | None = None
        self._decoding = threading.Lock()
        self._changing = threading.Lock()
        self._last: Undoable | None = None
        self._undone: frozenset[str] = frozenset()
        names = begun_archive(archive)
        self.settings = Settings(surface=names[0] if len(names) == 1 else None)
        self._kept = KeptBench(archive)
        kept = self._kept.load()
        if kept is None:
            self._visit = self._begin()
        else:
            self._take_up(kept, names)

    # --- what a device may do ---------------------------------------------------------------

    def set(self, settings: Settings) -> None:
        """Change surface, lamp, sense or distance; photographs read with others are read again.

        Raises
        ------
        BadInput
            If one of them is not valid.
        """
        if settings.sense not in SENSES:
            raise BadInput(f"sense: {settings.sense!r} is not one of {', '.join(SENSES)}")
        if settings.surface is not None:
            surface = self._surface(settings.surface)
            find_lamp(settings.lamp or surface.lamp or "sodium", self.archive)
            as_laid(surface, settings.aperture_mm, settings.against)
        with_camera(settings.stated(), self.archive)
        with self._lock:
            if settings.surface != self.settings.surface:
                settings = settings.for_next_visit()  # it was stated for the other surface
            if settings != self.settings:
                other = settings.surface != self.settings.surface
                self.settings = settings
                if other:
                    self._visit, self._taken = self._begin(), NOTHING
                for shot in self._shots:
                    self._read(shot)
                self._touch()

    def turn_to(self, surface: str) -> None:
        """Choose a surface; its usual lamp and plate count."""
        with self._lock:
            settings = self.settings
        self.set(replace(settings.for_next_visit(), surface=surface, lamp=None))

    def add(self, data: bytes, name: str, visit_id: str | None = None) -> str:
        """Put a photograph, or the frames of a film clip, on the bench and begin to read it.

        Parameters
        ----------
        data : bytes
            The file's bytes.
        name : str
            What the device calls it; kept for the record, never used as a path.
        visit_id : str, optional
            The visit that the device took it for.

        Returns
        -------
        str
            The shot's identity; that of the first one for a photograph that is there already.

        Raises
        ------
        BadInput
            If it is neither a picture nor a clip.
        FullBench, OtherVisit
            If the bench is full, or has turned to another visit since.
        """
        digest = hashlib.sha256(data).hexdigest()
        existing = self._same(digest)
        if existing is not None:
            return existing
        with self._decoding:  # one at a time, so that memory is bounded
            shot = shot_of(data, name)
        with self._lock:
            existing = self._same(shot.sha256)  # another request may have been faster
            if existing is not None:
                return existing
            if visit_id is not None and visit_id != self._visit:
                raise OtherVisit(self._not_there(visit_id, "the photograph was not taken"))
            total = shot.size + sum(other.size for other in self._shots)
            if len(self._shots) >= MOST_SHOTS or total > MOST_BYTES:
                raise FullBench("the bench is full; log the visit or remove photographs")
            self._shots.append(shot)
            self._read(shot)
            self._touch()
        return shot.id

    def remove(self, identity: str) -> None:
        """Take a photograph off the bench."""
        with self._lock:
            shot = self._find(identity)
            shot.give_up()
            self._shots.remove(shot)
            if not self._shots:
                # how the pieces lay was said of the photographs that are gone
                self.settings = self.settings.for_next_visit()
            self._touch()

    def regroup(self, change: Callable[[Sequence[Shot]], list[Shot]]) -> None:
        """Read photographs together as one contact, or each by itself again."""
        with self._lock:
            old, self._shots = self._shots, change(self._shots)
            for shot in (one for one in old if one not in self._shots):
                shot.give_up()
            for shot in (one for one in self._shots if one not in old):
                self._read(shot)
            self._touch()

    def set_time(self, identity: str, when: datetime) -> None:
        """Say when a photograph was taken, where neither clock knows."""
        with self._lock:
            self._find(identity).said = when
            self._touch()

    def set_place(self, identity: str, place_mm: tuple[float, float] | None) -> None:
        """Say where on the work the smaller plate of a photograph lay, from its centre [mm]."""
        with self._lock:
            surface = self._chosen()
            if place_mm is not None and math.hypot(*place_mm) >= surface.diameter_mm / 2:
                raise BadInput("this place is off the work; its centre is 0, 0")
            self._find(identity).place_mm = place_mm
            self._touch()

    def set_taken(self, change: Callable[[Taken], Taken]) -> None:
        """Change what was read without a photograph: by eye, on the spherometer."""
        with self._lock:
            self._chosen()
            self._taken = change(self._taken)
            self._touch()

    def set_edge(self, identity: str, edge: Edge | str) -> None:
        """Read a photograph with another edge: `auto`, `none`, or where it was dragged to."""
        with self._lock:
            shot = self._find(identity)
            shot.edge = edge
            self._read(shot)
            self._touch()

    def log(self, visit_id: str, request: VisitRequest) -> dict[str, object]:
        """Write the visit with all readings, once; the same call once more returns the same.

        Parameters
        ----------
        visit_id : str
            The visit that the device saw.
        request : VisitRequest
            What was done since the last visit, and all else that is said of this one.

        Raises
        ------
        Asked, UnknownStage
            If something must be answered first.
        BadInput
            If there is nothing to log, a reading is not done yet, the visit was logged with
            something else, or the bench has turned to another surface since.
        """
        with self._lock:
            if visit_id in self._logged:
                return self._logged[visit_id].again(request)
            if visit_id != self._visit:
                raise BadInput(self._not_there(visit_id, "nothing was logged"))
            surface = self._chosen()
            if any(one.state in ("waiting", "reading") for one in self._shots):
                raise BadInput("a photograph is still being read; wait for it or remove it")
            whole = all_said(request, self._shots, self._taken, self.settings)
            visit, sagittas = bench_visit(
                surface, visit_id, self._shots, whole, self.settings.stated(), self._undone
            )
            done = log_and_judge(surface, visit, sagittas)
            result = told_of(done)
            self._logged[visit_id] = LoggedOnce.of(result, request)
            shots = tuple(self._shots)
            self._last = Undoable(
                visit_id, surface.name, done.number, shots, self._taken, self.settings
            )
            self._next_visit()
            return result

    def undo(self, visit_id: str) -> dict[str, object]:
        """Strike out a visit that was just logged, and put its photographs back.

        Raises
        ------
        BadInput
            If that was too long ago.
        """
        with self._lock:
            last = self._last
            if last is None or last.visit_id != visit_id or not last.seconds_left:
                raise BadInput(
                    f"a visit can be taken back for {UNDO_S:.0f} s; strike it out under Progress"
                )
            done = strike_visit(self._surface(last.surface), str(last.number), UNDONE)
            self._last = None
            same = self.settings.surface == last.settings.surface
            if same and not self._shots and not self._taken.any:
                self._shots, self._taken = list(last.shots), last.taken
                self.settings = last.settings
                self._undone = frozenset[str]().union(*(shot.digests for shot in last.shots))
                for shot in self._shots:
                    if shot.state == "waiting":  # the program was started again since
                        self._read(shot)
            self._touch()
            return told_of(done)

    def change_visit(self, surface: str, request: VisitRequest, sense: str | None) -> None:
        """Correct a logged visit or strike it out, as `fringe log` does.

        Parameters
        ----------
        surface : str
            Its name.
        request : VisitRequest
            With `replaces` or `strike`.
        sense : str or None
            Where the contact was, if that is corrected.

        Raises
        ------
        Asked, UnknownStage, BadInput, Refused
            As `fringe log`; nothing is written then.
        """
        stated = StatedOptions() if sense is None else StatedOptions(sense=sense)
        with self._changing:  # a photograph may be read anew, while others look at the bench
            log_or_change(self._surface(surface), (), request, stated)
        with self._lock:
            self._touch()

    # --- what a device sees -------------------------------------------------------------------

    @property
    def changed(self) -> int:
        """A number that grows with every change, for devices that look now and then."""
        with self._lock:
            if self._last is not None and not self._last.seconds_left:
                self._last = None  # its photographs need not be kept any more
                self._touch()
            return self._changed

    def view(self) -> dict[str, object]:
        """Everything that the page shows, as plain values."""
        with self._lock:
            surface = None if self.settings.surface is None else self._chosen()
            known = None if surface is None else self._known(surface)
            return {
                "changed": self._changed,
                "not_kept": self._kept.problem,
                "undo": None if self._last is None else self._last.view(),
                **bench_view(self._content(), self.archive, surface, known),
            }

    def look_again(self) -> None:
        """Something changed in the archive that devices are to see."""
        with self._lock:
            self._changed += 1

    def shot(self, identity: str) -> Shot:
        """One photograph on the bench, as it is now."""
        with self._lock:
            return replace(self._find(identity))

    def shots(self) -> tuple[Shot, ...]:
        """All photographs on the bench, as they are now."""
        with self._lock:
            return tuple(replace(shot) for shot in self._shots)

    def chosen(self) -> Surface:
        """The surface that is being measured; `BadInput` before one is chosen."""
        with self._lock:
            return self._chosen()

    @property
    def kept(self) -> bool:
        """Whether what is on the bench now is on the disk as well."""
        return not self._kept.problem

    def close(self) -> int:
        """End the reading; return how many photographs were not logged."""
        self._readings.close()
        with self._lock:
            self._kept.close()
            return len(self._shots)

    # --- inside -------------------------------------------------------------------------------

    def _begin(self) -> str:
        """A new visit, for the surface that is chosen now."""
        identity = secrets.token_hex(8)
        self._begun[identity] = self.settings.surface
        return identity

    def _next_visit(self) -> None:
        """Clear the bench; where this visit's pieces touched says nothing about the next one."""
        self._shots, self._taken, self._undone = [], NOTHING, frozenset()
        self.settings = self.settings.for_next_visit()
        self._visit = self._begin()
        self._touch()

    def _take_up(self, kept: Content, names: Sequence[str]) -> None:
        """Go on where the bench was left, whatever ended it."""
        self._begun, self._logged = dict(kept.begun), dict(kept.logged)
        self._visit, self._last, self._undone = kept.visit, kept.last, kept.undone
        self._shots, self._taken = list(kept.shots), kept.taken
        self.settings = kept.settings
        if kept.settings.surface not in names:  # it was moved away or renamed meanwhile
            self.settings = replace(self.settings.for_next_visit(), surface=None)
            self._visit, self._taken = self._begin(), NOTHING
        elif was_logged(self._chosen(), kept.visit):
            self._next_visit()
        for shot in self._shots:
            self._read(shot)

    def _not_there(self, visit_id: str, what: str) -> str:
        """Why a visit that is not the one on the bench cannot be logged, or added to."""
        was, now = self._begun.get(visit_id), self.settings.surface
        if was is not None and was != now:
            return (
                f"{what}: this visit was begun for {was}, and the bench has been "
                f"turned to {now or 'no surface'} since; choose {was} again"
            )
        return f"{what}: this visit is not on the bench any more; look at the page again"

    def _touch(self) -> None:
        """Something changed that is to be seen, and that is kept."""
        self._changed += 1
        for old in list(self._begun)[:-MOST_REMEMBERED]:
            del self._begun[old]
            self._logged.pop(old, None)
        self._kept.save(self._content())

    def _content(self) -> Content:
        """What is on the bench now."""
        shots = tuple(self._shots)
        return Content(
            self._visit,
            self.settings,
            shots,
            self._taken,
            self._begun,
            self._logged,
            self._last,
            self._undone,
        )

    def _same(self, digest: str) -> str | None:
        with self._lock:
            return next((shot.id for shot in self._shots if digest in shot.digests), None)

    def _find(self, identity: str) -> Shot:
        for shot in self._shots:
            if shot.id == identity:
                return shot
        raise BadInput("this photograph is not on the bench any more")

    def _surface(self, name: str) -> Surface:
        return surface_named(self.archive, name)

    def _chosen(self) -> Surface:
        if self.settings.surface is None:
            raise BadInput("choose the surface first")
        return self._surface(self.settings.surface)

    def _read(self, shot: Shot) -> None:
        surface = None if self.settings.surface is None else self._chosen()
        self._readings.begin(shot, surface, self.settings)

    def _reading_changed(self) -> None:
        self._changed += 1  # nothing that is kept

    def _known(self, surface: Surface) -> LoggedVisits:
        """Logged visits, and what like surfaces teach; read again when the folder has changed."""
        assert surface.folder is not None
        key = surface.folder, surface.folder.stat().st_mtime_ns
        if self._cache is None or self._cache[0] != key:
            self._cache = key, logged_visits(surface)
        return replace(self._cache[1], surface=surface)

"""What a correction makes of the visit that it corrects: what it says is done, the rest is kept.

A new lamp, edge, sense, view or circle reads the kept photographs anew, each with the options
that it was read with for the rest; new photographs are read with those options, too.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from pathlib import Path

from fringe.archive.instruments import find_lamp
from fringe.archive.store.order import VisitSessions, find_visit
from fringe.archive.store.read import open_session
from fringe.archive.store.session import LoggedReading, Photograph, Session
from fringe.archive.store.surface import Surface
from fringe.archive.views.laid import as_laid, other_circle, place_of, sizes_of, stated_places
from fringe.archive.views.photographs import Contact, load_photographs, read_contacts
from fringe.archive.views.reading_options import (
    kept_options,
    map_of_plate,
    refused_options,
    with_camera,
)
from fringe.archive.views.visit_request import VisitRequest
from fringe.errors import BadInput
from fringe.orders.by_eye import by_eye, with_sense
from fringe.orders.options import ReadOptions, StatedOptions

# Options to read with now, of the reading and those that it was read with; and a new reading with
# where it lay, of itself and the old one.
Change = Callable[[LoggedReading | None, ReadOptions], ReadOptions]
Lay = Callable[[LoggedReading, LoggedReading | None], LoggedReading]
Readings = tuple[tuple[LoggedReading, ...], tuple[Photograph, ...]]


@dataclasses.dataclass(frozen=True)
class CorrectedVisit:
    """A visit that is to be corrected.

    Attributes
    ----------
    found : VisitSessions
        Its sessions.
    base : Session
        The session that the correction takes over from: the latest that is not struck out.
    """

    found: VisitSessions
    base: Session

    @property
    def also(self) -> tuple[str, ...]:
        """Latest sessions of it beside the one that counts."""
        return tuple(one.session_id for one in self.found.latest[:-1])


def visit_to_correct(folder: Path, text: str) -> CorrectedVisit:
    """Find and open the visit that a correction names.

    Raises
    ------
    BadInput
        If there is no such visit, or its session is damaged.
    """
    found = find_visit(folder, text)
    whole = [one for one in found.sessions if not one.struck]
    kept = found.current if not found.current.struck or not whole else whole[-1]
    return CorrectedVisit(found, open_session(kept.place))


def corrected_fringes(
    surface: Surface,
    corrected: CorrectedVisit,
    photos: Sequence[Path],
    request: VisitRequest,
    stated: StatedOptions,
) -> Readings | None:
    """Readings and photographs of a visit once it is corrected.

    Returns
    -------
    tuple or None
        None where nothing is said of them, or nothing is kept that new ones could be read like.

    Raises
    ------
    BadInput
        If what is said makes no sense, or there is nothing to read anew.
    Refused
        If a photograph that was read supports no reading now.
    """
    said = said_of_reading(request, stated)
    if not said and not photos and request.by_eye is None:
        return None
    change = _Change(surface, request, stated, said)
    base = corrected.base
    if photos:
        made = _new_photographs(change, base, photos)
        return None if made is None else (_with_eye(change, base, made[0]), made[1])
    if not base.visit.readings and not base.visit.photographs:
        if request.by_eye is not None:
            return None
        number = corrected.found.number
        raise BadInput(f"visit {number} has no photograph that could be read anew; give one")
    count = len(base.visit.photographs)
    readings, photographs = read_like(
        base,
        lambda _, old: change.options(old),
        lambda one, old: change.laid(one, old, count),
        request,
    )
    return _with_eye(change, base, readings), photographs


def said_of_reading(request: VisitRequest, stated: StatedOptions) -> frozenset[str]:
    """Names of what is said of how photographs were taken or laid."""
    nothing = StatedOptions()
    names = {f.name for f in dataclasses.fields(stated)}
    told = {name for name in names if getattr(stated, name) != getattr(nothing, name)}
    laid = {name for name in ("aperture_mm", "against", "place") if getattr(request, name)}
    return frozenset(told | laid | (names & set(request.said)))


def changed_options(
    surface: Surface, request: VisitRequest, stated: StatedOptions, old: LoggedReading
) -> ReadOptions:
    """The options of a kept reading, with what a correction says put in."""
    change = _Change(surface, request, stated, said_of_reading(request, stated))
    return change.options(kept_options(old))


class _Change:
    """What a correction says of the readings, put on the options of each."""

    def __init__(
        self,
        surface: Surface,
        request: VisitRequest,
        stated: StatedOptions,
        said: frozenset[str],
    ) -> None:
        assert surface.folder is not None
        self.surface, self.request, self.said = surface, request, said
        self.archive = surface.folder.parent
        self.stated = with_camera(stated, self.archive)

    def options(self, old: ReadOptions) -> ReadOptions:
        """The options of a reading with what is said put in."""
        said, stated = self.said, self.stated
        new: dict[str, object] = {}
        if stated.lamp is not None:
            new["lamp"] = find_lamp(stated.lamp, self.archive)
        if "edge" in said:
            new["edge"] = stated.parsed_edge()
        if "sense" in said:
            new["sense"] = stated.sense
        for name in ("camera_distance_mm", "scale_px_per_mm"):
            if getattr(stated, name) is not None:
                new[name] = getattr(stated, name)
        if stated.gap_mm is not None:
            new["gap_um"] = 1e3 * stated.gap_mm
        if stated.plate_turned is not None:
            new["plate_turned_deg"] = stated.plate_turned_deg()
            new["plate_map"] = map_of_plate(self.surface, self.archive, stated.plate_turned)
        laid = self._laid()
        if self._of_another_circle:
            new |= sizes_of(laid)
        if self.request.against is not None:
            new["plate_radius_mm"] = laid.plate_radius_mm
        return dataclasses.replace(old, **new)  # type: ignore[arg-type]

    @property
    def _of_another_circle(self) -> bool:
        """Whether a circle is said: that of a smaller plate, or of another chamfer."""
        return self.request.aperture_mm is not None or self.stated.chamfer_mm is not None

    def _laid(self) -> Surface:
        """The surface as it lay by what is said."""
        request = self.request
        chamfer = self.stated.chamfer_mm
        return as_laid(self.surface, request.aperture_mm, request.against, chamfer)

    def laid(self, reading: LoggedReading, old: LoggedReading | None, photos: int) -> LoggedReading:
        """A new reading with where its circle lay and on which piece, the old ones if not said."""
        request, surface = self.request, self.surface
        aperture = None if old is None else old.aperture_mm
        if self._of_another_circle:
            aperture = other_circle(self._laid(), surface)
        places = stated_places(request.place, photos, aperture, surface.diameter_mm)
        place = place_of(reading, places)
        if place is None and aperture is not None and old is not None:
            place = old.place_mm
        against = request.against or (None if old is None else old.against)
        return dataclasses.replace(reading, aperture_mm=aperture, place_mm=place, against=against)


def by_photograph(base: Session) -> list[LoggedReading]:
    """Readings of a session that were made of photographs."""
    return [one for one in base.visit.readings if one.method == "photograph"]


def read_like(
    base: Session,
    options: Change,
    laid: Lay,
    request: VisitRequest,
) -> Readings:
    """Read the photographs that a session keeps again, those that were refused as well.

    Parameters
    ----------
    base : Session
        With its photographs.
    options : callable
        Options to read with now, of the reading (None where there was none) and those that it
        was read with.
    laid : callable
        A new reading with where it lay, of itself and the old one.
    request : VisitRequest
        Who reads, and whether photographs without a reading are kept.

    Raises
    ------
    BadInput
        If the session does not keep enough to read them again.
    Refused
        If a photograph that was read supports no reading now.
    """
    archive = base.summary.place.parent.parent
    photographs = base.visit.photographs
    old: list[LoggedReading | None] = list(by_photograph(base))
    contacts = [
        Contact(
            one.photographs,
            options(one, kept_options(one)),
            burst=bool(one.options.get("burst")),
            keep_refused=request.keep_refused,
        )
        for one in by_photograph(base)
    ]
    refused = [i for i, one in enumerate(photographs, 1) if one.refusal is not None]
    groups = [tuple(refused)] if base.visit.inputs.get("burst") else [(i,) for i in refused]
    for group in groups if refused else ():
        changed = options(None, refused_options(base, archive))
        contacts.append(Contact(group, changed, burst=len(group) > 1, keep_refused=True))
        old.append(None)
    answers, kept = read_contacts(
        photographs, contacts, workers=request.workers, scheduler=request.scheduler
    )
    made = [laid(one, before) for one, before in zip(answers, old, strict=True) if one is not None]
    return tuple(made), kept


def eye_like(base: Session, options: Change, laid: Lay) -> list[LoggedReading]:
    """What was seen by eye, with other options; see :func:`read_like`."""
    made = []
    for one in base.visit.readings:
        if one.method != "eye":
            continue
        old, text = kept_options(one), str(one.options["by_eye"])
        new = options(one, old)
        if new.sense != old.sense and new.sense in ("centre", "edge"):
            text = with_sense(text, new.sense)  # the words may say the sense that is corrected
        made.append(laid(_eye(text, new), one))
    return made


def as_before(one: LoggedReading, old: LoggedReading | None) -> LoggedReading:
    """A new reading, which lay where the old one did."""
    if old is None:
        return one
    return dataclasses.replace(
        one, aperture_mm=old.aperture_mm, place_mm=old.place_mm, against=old.against
    )


def _new_photographs(change: _Change, base: Session, photos: Sequence[Path]) -> Readings | None:
    """Read new photographs as the old ones were; None where there is none to read like."""
    old = next(iter([*by_photograph(base), *base.visit.readings]), None)
    request = change.request
    if old is not None:
        options = kept_options(old)
    elif base.visit.photographs:
        options = refused_options(base, change.archive)
    else:
        return None
    photographs = load_photographs(photos, burst=request.burst)
    count = len(photographs)
    groups = [tuple(range(1, count + 1))] if request.burst else [(i,) for i in range(1, count + 1)]
    changed = change.options(options)
    contacts = [
        Contact(group, changed, burst=request.burst, keep_refused=request.keep_refused)
        for group in groups
    ]
    answers, kept = read_contacts(
        photographs, contacts, workers=request.workers, scheduler=request.scheduler
    )
    made = [change.laid(one, old, len(groups)) for one in answers if one is not None]
    return tuple(made), kept


def _with_eye(
    change: _Change, base: Session, readings: Sequence[LoggedReading]
) -> tuple[LoggedReading, ...]:
    """Readings with what was seen by eye, as it is said now or was said then."""
    old = [one for one in base.visit.readings if one.method == "eye"]
    text = change.request.by_eye
    if text is not None:
        like = next(iter([*old, *readings]), None)
        if like is None:
            raise BadInput("--by-eye: say it in a visit of its own; this one keeps no lamp")
        made = _eye(text, change.options(kept_options(like)))
        return (*readings, change.laid(made, like, 0))
    again = eye_like(
        base, lambda _, options: change.options(options), lambda one, o: change.laid(one, o, 0)
    )
    return (*readings, *again)


def _eye(text: str, options: ReadOptions) -> LoggedReading:
    return LoggedReading(
        by_eye(text, options),
        method="eye",
        lamp=options.lamp,
        options={**options.to_json(), "by_eye": text},
    )

"""What is asked before a visit is kept: what is hardly meant, and hard to put right later."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from fringe.archive.instruments import record_if_any
from fringe.archive.store.index import Entry, other_entries, own_entry
from fringe.archive.store.session import Photograph
from fringe.archive.store.surface import Surface
from fringe.archive.views.own_time import far_apart
from fringe.archive.views.photographs import taken_up
from fringe.archive.views.visit_request import VisitRequest
from fringe.errors import BadInput
from fringe.judge.state.abrasives import check_stage, known_names, stage

LONGEST_SPELL_MIN = 24 * 60.0
# so many other surfaces are looked through for a photograph, those first that were worked last
MOST_LOOKED_AT = 100
# a clock may run a little ahead of another
_AHEAD = timedelta(minutes=5)


@dataclass(frozen=True)
class Question:
    """What is asked, and the option that answers it without being asked."""

    text: str
    option: str


class Asked(BadInput):
    """Something must be answered first; the line names what, and how it is answered."""

    def __init__(self, questions: Sequence[Question]) -> None:
        self.questions = tuple(questions)
        lines = [f"{one.text}; {one.option}" for one in questions]
        super().__init__("; ".join(lines))


class UnknownStage(BadInput):
    """A stage that is neither a known grit nor known as polishing; the line says how to tell."""


_ANYWAY = "--yes logs it all the same"


def check_asked(
    surface: Surface,
    photos: Sequence[Path],
    request: VisitRequest,
    loaded: Sequence[Photograph] = (),
    *,
    doubt: str | None = None,
    folder: Path | None = None,
) -> list[Photograph]:
    """Raise `Asked` for what is hardly meant, unless that was confirmed.

    Parameters
    ----------
    surface : Surface
        As it was loaded, with its folder; without one that is yet to be made, `folder`.
    photos : sequence of Path
    request : VisitRequest
    loaded : sequence of Photograph
        Photographs that are in memory already.
    doubt : str or None
        Why what was taken over from the last time may not be meant.
    folder : Path or None
        Where a surface without a folder will lie.

    Returns
    -------
    list of Photograph
        Those of `photos`, for who reads them next; empty where none had to be looked at.
    """
    if request.yes:
        return []
    shown = bool(photos or loaded)
    folder = surface.folder or folder
    assert folder is not None
    # a correction says again what is there, and lies where its visit does
    anew = request.replaces is None
    own = own_entry(folder) if anew and surface.folder is not None else None
    questions = [
        *_minutes(request),
        *_times(own, request),
        *_apart(photos, request),
        *_plate(surface, request, shown=shown),
    ]
    if doubt is not None:
        questions.append(Question(doubt, "--stage and --on-top say which, --yes takes the former"))
    taken = taken_up(photos, burst=request.burst) if anew else []
    if anew:
        questions += _photographs(folder, own, [*loaded, *taken])
    if questions:
        raise Asked(questions)
    return taken


def _minutes(request: VisitRequest) -> Iterable[Question]:
    minutes = request.work().minutes
    if minutes is not None and minutes > LONGEST_SPELL_MIN:
        yield Question(f"--minutes: {minutes:g} min is more than a day of work", _ANYWAY)


def _times(own: Entry | None, request: VisitRequest) -> Iterable[Question]:
    """A visit in the future, or before the last one."""
    now = datetime.now().astimezone()
    when = request.time()
    said = "the photograph's time" if request.when_from else "--when"
    anyway = f"--when TIME says another, {_ANYWAY}" if request.when_from else _ANYWAY
    if when is not None and when > now + _AHEAD:
        yield Question(f"{said}: {when:%Y-%m-%d %H:%M} is in the future", anyway)
    visits = () if own is None else own.visits
    last = max(visits, key=lambda one: one.when, default=None)
    if last is not None and (when or now) < last.when:
        which = said if when is not None else "the clock"
        yield Question(
            f"{which}: {when or now:%Y-%m-%d %H:%M} is before visit {last.number}, "
            f"{last.when:%Y-%m-%d %H:%M}",
            anyway,
        )


def _apart(photos: Sequence[Path], request: VisitRequest) -> Iterable[Question]:
    """Photographs that are not of one visit by their own times."""
    words = far_apart(photos) if request.when_from else None
    if words is not None:
        yield Question(
            f"{words}, which is more than one visit", f"log each by itself, or {_ANYWAY}"
        )


def _plate(surface: Surface, request: VisitRequest, *, shown: bool) -> Iterable[Question]:
    """A plate that is smaller than the work by its record, and no circle said."""
    name = surface.plate.name
    if not shown or name is None or request.against or request.aperture_mm or request.replaces:
        return
    assert surface.folder is not None
    record = record_if_any(surface.folder.parent, "plate", name) or {}
    diameter = record.get("diameter_mm")
    if isinstance(diameter, int | float) and diameter < surface.diameter_mm:
        yield Question(
            f"plate {name} is {diameter:g} mm and the work {surface.diameter_mm:g} mm in diameter",
            f"--aperture {diameter:g}mm reads it over the plate, --yes over the work",
        )


def _photographs(
    folder: Path, own: Entry | None, photographs: Sequence[Photograph]
) -> Iterable[Question]:
    """Photographs that are in the archive already."""
    if not photographs:
        return
    known: dict[str, str] = {}
    for entry in (*filter(None, [own]), *other_entries(folder, MOST_LOOKED_AT)):
        name = entry.surface.name if entry.surface else entry.folder.name
        for digest, number in entry.photographs:
            known.setdefault(digest, f"visit {number} of {name}")
    for one in photographs:
        found = known.get(one.sha256)
        if found is not None:
            yield Question(f"{one.file_name}: this photograph is in {found} already", _ANYWAY)


def with_known_stage(surface: Surface, request: VisitRequest) -> VisitRequest:
    """A request whose stage is a grit or polish, by its name or by what is said of it.

    A name of one's own is kept with what it is: `pad 7 (polish)`. A surface that has it on record
    is not asked again.

    Raises
    ------
    UnknownStage
        If the stage is none; the line names the nearest, and the option that tells.
    BadInput
        If what is said of it contradicts what is known.
    """
    name, kind = request.stage, request.stage_is
    if name is None:
        if kind is not None:
            raise BadInput("--stage-is: say the stage as well, as --stage 'pad 7'")
        return request
    check_stage(name)
    known = stage(name)
    if kind is not None and known.known:
        if known.polish != (kind == "polish"):
            is_ = "polishing" if known.polish else "a grit"
            raise BadInput(f"--stage-is: {name!r} is known as {is_}; give your own another name")
        return request
    if known.known:
        return request
    own = [f"{name} ({one})" for one in ("grit", "polish")]
    if kind is not None:
        return replace(request, stage=own[kind == "polish"])
    before = _stages(surface)
    seen = [one for one in own if one in before]
    if seen:
        return replace(request, stage=seen[-1])
    names = {one.casefold(): one for one in [*known_names(), *before]}
    near = difflib.get_close_matches(name.casefold(), names, 1, 0.5)
    nearest = f"the nearest is {names[near[0]]!r}" if near else "grits are written '#400' or 9um"
    raise UnknownStage(
        f"--stage: {name!r} is no stage that is known; {nearest}; for one of your own add "
        "--stage-is grit or --stage-is polish"
    )


def _stages(surface: Surface) -> list[str]:
    assert surface.folder is not None
    entry = own_entry(surface.folder)
    found = [] if entry is None else [visit.work.stage for visit in entry.visits]
    return list(dict.fromkeys(one for one in found if one is not None))

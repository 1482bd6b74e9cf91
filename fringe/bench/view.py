"""Everything that the page shows of a bench, as plain values."""

from __future__ import annotations

from pathlib import Path

from fringe.archive.store.surface import Surface
from fringe.archive.views.surface_state import LoggedVisits
from fringe.bench.answers import history, visit_answer
from fringe.bench.kept import Content
from fringe.bench.on_record import instruments_of, surfaces_of
from fringe.bench.shots import shot_view
from fringe.bench.sight import AtHand, advised, at_hand, back_at, course, judged, surface_line
from fringe.show.reports.pdf import printing_browser


def bench_view(
    content: Content, archive: Path, surface: Surface | None, known: LoggedVisits | None
) -> dict[str, object]:
    """What a device shows.

    Parameters
    ----------
    content : Content
        What is on the bench.
    archive : Path
    surface : Surface or None
        The one that is chosen, and
    known : LoggedVisits or None
        what was logged of it.
    """
    shots, taken, settings = content.shots, content.taken, content.settings
    found = AtHand() if surface is None else at_hand(surface, shots, taken, settings)
    state, row = judged(known, found)
    answer = None
    if state is not None and row is not None:
        read = [shot.reading for shot in shots if shot.reading is not None]
        last = read[-1] if read else None
        answer = visit_answer(state, row, len(found.measured), last, settings.against)
    # the visit at hand has no session yet
    seen = [] if state is None else [one for one in state.listed if one.session_id]
    return {
        "visit": content.visit,
        "surfaces": [surface_line(one) for one in surfaces_of(archive)],
        **instruments_of(archive),
        "prints": printing_browser() is not None,
        "taken": {**taken.to_json(), "hint": found.hint, "notes": list(found.notes)},
        "settings": {**settings.to_json(), "usual_lamp": surface.lamp if surface else None},
        "shots": [shot_view(one) for one in shots],
        "answer": answer,
        "course": course(surface, shots),
        "advised": advised(known),
        "back_at": back_at(state, row),
        "history": history(seen),
        "limit": None if state is None else state.laid.tolerance.power_fringes,
        "stages": list(dict.fromkeys(one.stage for one in reversed(seen) if one.stage)),
    }

"""What the page shows of several surfaces: a pair, a plan, and a surface that is made."""

from __future__ import annotations

from fringe.archive.store.surface import Surface
from fringe.archive.surface_record import StatedRecord, add_stated, change_stated
from fringe.archive.views.judged_pair import JudgedPair, judged_pair
from fringe.archive.views.planning import PlanRequest, planned_surfaces
from fringe.bench.desk import Desk
from fringe.bench.on_record import surface_named
from fringe.bench.words import bench_words
from fringe.errors import BadInput
from fringe.show.plan_words import finished_text, hours_range, whole_range
from fringe.show.text.pair import pair_rows


def pair_of(desk: Desk, partner: str) -> JudgedPair:
    """The pair of the surface on the bench and another one.

    Raises
    ------
    BadInput
        If the two are no pair, or nothing was measured.
    """
    return judged_pair(desk.chosen(), surface_named(desk.archive, partner))


def pair_answer(desk: Desk, partner: str) -> dict[str, object]:
    """Whether the two match, in lines of text, the answer first."""
    found = pair_of(desk, partner)
    rows = [" ".join(bench_words(row).split()) for row in pair_rows(found)]
    return {"rows": rows, "verdict": found.pair.verdict}


def plan_answer(desk: Desk) -> dict[str, object]:
    """What the surface on the bench still takes: visits, hours, when it is finished."""
    surface = desk.chosen()
    found = planned_surfaces([str(surface.folder)], PlanRequest())
    return {
        "rows": [
            [one.name, whole_range(one.visits), hours_range(one.work_hours), finished_text(one)]
            for one in found.plan.surfaces
        ],
        "steps": [bench_words(step) for step in found.steps],
    }


def change_tolerance(desk: Desk, name: str, record: StatedRecord) -> Surface:
    """Write what is allowed of a surface, into a new version of its record.

    Raises
    ------
    BadInput
        If nothing is said, or it makes no sense.
    """
    if record == StatedRecord():
        raise BadInput("say what is allowed: power, irregularity or both, in fringes")
    changed = change_stated(surface_named(desk.archive, name), record)
    desk.look_again()
    return changed


def add_surface(desk: Desk, name: str, form: str, record: StatedRecord) -> Surface:
    """Make a surface in the bench's archive, and turn the bench to it.

    Raises
    ------
    BadInput
        If its record makes no sense, or the name is taken.
    """
    made = add_stated(desk.archive, name, form, record)
    desk.turn_to(made.name)
    return made

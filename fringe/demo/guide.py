"""The text that lies in the example's folder: what is what, and what to type."""

from __future__ import annotations

from fringe.demo.scenario import PHOTOGRAPHS, Scenario, VisitSpec

GUIDE = "START-HERE.txt"

_TEXT = """This folder was made by `fringe demo`.
{about}
Its photographs are rendered, so that the truth is known; nothing in it was ever made of glass.

Look first at

  {first}
      open it in a browser: whether the pair matches, on what evidence, and the history of both;
      each piece has a page of its own beside it
  pictures/
      each photograph with the fitted dark fringes over it: believe a reading only where the
      lines lie on the fringes; the progress of each surface; how one settled; the pair

The record itself is {archive}/: a folder a surface, a file a visit. {archive}/README.txt tells how
to read it without fringe. photographs/ holds what the camera saw.

Go on by hand. Open a terminal in this folder and type

{commands}

A visit of your own, logged here, stays: `fringe demo` replaces only what it made itself.
"""


def guide_text(scenario: Scenario, first: str) -> str:
    """Return the guide, with commands that run in the folder where it lies."""
    return _TEXT.format(
        about=scenario.about,
        first=first,
        archive=scenario.archive,
        commands="\n".join(f"  {line}" for line in guide_commands(scenario)),
    )


def guide_commands(scenario: Scenario) -> list[str]:
    """List commands worth trying, as typed in the example's folder."""
    last = scenario.surfaces[-1]
    visit = next(one for one in reversed(last.visits) if one.photographs)
    photograph = f"{PHOTOGRAPHS}/{visit.photographs[-1].file}"
    where = [f'"{scenario.archive}/{one.name}"' for one in scenario.surfaces]
    distance = f"--camera-distance {scenario.camera_distance_mm:g}mm"
    return [
        *(f"fringe progress {one}" for one in where),
        f"fringe pair {where[-2]} {where[-1]}",
        f"fringe surfaces {scenario.archive} --next",
        f"fringe budget {where[-1]}",
        f"fringe report {where[-2]} {where[-1]} --out report.html",
        f"fringe read {photograph} --lamp {visit.lamp or last.lamp} --diameter "
        f"{last.diameter_mm:g}mm {distance} --picture fitted.png",
        *_settling(scenario, distance),
        f"fringe log {where[-1]} {photograph} --camera {scenario.camera_name} --sense "
        f'{visit.sense} --remark "read again" --yes',
    ]


def _settling(scenario: Scenario, distance: str) -> list[str]:
    """One command for each visit whose photographs show the glass settle."""
    return [
        f"fringe settle {' '.join(f'{PHOTOGRAPHS}/{one.file}' for one in visit.photographs)} "
        f'--surface "{scenario.archive}/{surface.name}" --times '
        f"{','.join(f'{one.after_minutes:g}' for one in visit.photographs)} {distance} "
        f"--sense {visit.sense}{_edge(visit)} --picture settling.png"
        for surface in scenario.surfaces
        for visit in surface.visits
        if len(visit.photographs) >= 3
    ]


def _edge(visit: VisitSpec) -> str:
    edge = visit.photographs[0].edge
    return "" if edge is None else f" --edge {','.join(f'{one:g}' for one in edge)}"

"""The text that lies in the example's folder: what is what, and what to type."""

from __future__ import annotations

from fringe.demo.scenario import PHOTOGRAPHS, Scenario

GUIDE = "START-HERE.txt"

_TEXT = """This folder was made by `fringe demo`.
{about}
Its photographs are rendered, so that the truth is known; nothing in it was ever made of glass.

Look first at

  {first}
      open it in a browser: the verdict, the photograph with the fitted fringes, the history
  pictures/
      each photograph with the fitted dark fringes over it: believe a reading only where the
      lines lie on the fringes; and the progress of each surface

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
    distance = f"{scenario.camera_distance_mm:g}mm"
    return [
        *(f"fringe progress {one}" for one in where),
        f"fringe budget {where[-1]}",
        f"fringe report {where[0]} --out report.html",
        f"fringe read {photograph} --lamp {visit.lamp or last.lamp} --diameter "
        f"{last.diameter_mm:g}mm --camera-distance {distance} --picture fitted.png",
        f"fringe log {where[-1]} {photograph} --camera-distance {distance} --sense {visit.sense} "
        '--remark "read again"',
    ]

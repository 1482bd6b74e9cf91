"""Short histories of a surface, and what is advised after them."""

from __future__ import annotations

import dataclasses

from fringe.judge.progress import progress
from fringe.judge.state.visits import VisitRecord, Work
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Tolerance
from sample_visits import hours

RESTED = 300.0  # minutes after which warmth is gone
TOLERANCE = Tolerance(2.0, wavelength_nm=589.29)


def visit(power, u=0.05, sense=None, *, more=(), source="fringes", **work):
    """A visit with one reading of power, or none."""
    sense = sense or ("edge" if power is not None and power < 0 else "centre")
    powers = () if power is None else (power, *more)
    readings = tuple(Measured(p, u, sense, wavelength_nm=589.29, source=source) for p in powers)
    return VisitRecord("s", hours(0), Work(**work), readings)


def history(*visits):
    """The visits numbered, three hours after each other."""
    return [
        dataclasses.replace(one, when=hours(3 * i), number=i + 1) for i, one in enumerate(visits)
    ]


def judged(*visits, tolerance=TOLERANCE, **more):
    """The progress of a surface with these visits."""
    return progress(history(*visits), tolerance, **more)


def step(*visits, **more):
    """The next step after visits."""
    return judged(*visits, **more).next_step


def polish(power, minutes=30.0, on_top="tool", **fields):
    """A visit after polishing."""
    return visit(power, stage="polish", minutes=minutes, on_top=on_top, **fields)


def ground(power, name, minutes=20.0, on_top="tool", u=4.0, **fields):
    """A visit after grinding, read by the spherometer."""
    fields = {"source": "spherometer", "minutes": minutes, "on_top": on_top} | fields
    return visit(power, u, stage=name, **fields)


def rings(power, u=0.3, **work):
    """A visit with rings read by eye."""
    return visit(power, u, source="eye", **work)

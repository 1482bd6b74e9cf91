"""The shipped example: one invented instrument, from first grit to matched pair.

`scenario` reads what `examples/scenario.toml` tells, `photographs` renders its pictures from
what it calls the truth, and `run` goes through it as a person at the bench would: records,
readings, verdicts, reports. Reading never sees the truth.
"""

from __future__ import annotations

from fringe.demo.outcome import Demo, Logged, RunStatus
from fringe.demo.run import run_demo
from fringe.demo.scenario import Scenario, load_scenario

__all__ = ["Demo", "Logged", "RunStatus", "Scenario", "load_scenario", "run_demo"]

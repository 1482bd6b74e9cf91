"""Uses of the public functions that a type checker must accept, and some that it must not.

Nothing here is run: `mypy` checks it with the package. An ignored line that is no error any
more is one itself.
"""

from __future__ import annotations

from pathlib import Path

import xarray as xr

import fringe
from fringe.archive.store.surface import Surface
from fringe.archive.views.surface_state import SurfaceState
from fringe.judge.tolerance.tolerance import FormTolerance
from fringe.judge.tolerance.verdict import Verdict
from fringe.judge.uncertainty.budget import Budget
from fringe.optics.lamps import Lamp
from fringe.synth.rendering import Rendered


class Metres:
    """A quantity as libraries of units have them."""

    def __init__(self, magnitude: float) -> None:
        self.magnitude = magnitude

    def to(self, unit: str) -> Metres:
        """Return the same in another unit."""
        return Metres(1000 * self.magnitude)


def readings(photo: Path, data: bytes) -> None:
    """A reading takes a photograph in each of its forms, and lengths in each of theirs."""
    one: fringe.Reading = fringe.read(photo, lamp="sodium", diameter="150mm", work="concave")
    two: fringe.Reading = fringe.read(data, lamp=fringe.lamp("sodium"), diameter_mm=150.0)
    fringe.read(fringe.load_photo("a.jpg"), lamp="hene", camera_distance=Metres(1.2))
    fringe.read("a.jpg", fringe.ReadOptions(fringe.lamp("sodium")))
    fringe.read("a.jpg", lamp="sodium", edge=(500, 500, 420))
    fringe.read_burst(["a.jpg", photo, data], lamp="sodium", sense="edge")
    power: float | None = one.power_fringes
    found: dict[str, Budget] = fringe.budget(one, two, u_plate_radius_mm=0.2)
    gap: xr.Dataset = fringe.to_dataset(one, "150mm")
    print(power, found, gap)


def others() -> None:
    """What the other functions return is known."""
    light: Lamp = fringe.lamp("sodium")
    allowed: FormTolerance = fringe.tolerance(radius="3048mm", diameter="150mm", power_fringes=2)
    surface: Surface = fringe.open_surface("shop/concave 1")
    shown: Rendered = fringe.render(Path("a.png"), power=3.5, seed=7)
    version: str = fringe.__version__
    errors: list[type[fringe.FringeError]] = [fringe.BadInput, fringe.Refused]
    state: SurfaceState = fringe.progress(surface)
    fringe.log_visit(surface, "a.jpg", stage="polish", minutes=40, on_top="tool")
    verdict: Verdict | None = fringe.match("shop/convex 1", surface).pair.verdict
    print(
        verdict, state, light, allowed, surface, shown, version, errors, fringe.to_dataset(surface)
    )


def mistakes() -> None:
    """What a person gets wrong is found before it is run."""
    fringe.read("a.jpg", lamp="sodium", diameter=150.0)  # type: ignore[arg-type]
    fringe.read("a.jpg", lamp="sodium", diameter_cm=15.0)  # type: ignore[call-arg]
    fringe.read("a.jpg", lamp="sodium", work="flat")  # type: ignore[arg-type]
    print(fringe.nothing)  # type: ignore[attr-defined]

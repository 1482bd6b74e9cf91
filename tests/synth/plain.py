"""Scenes stripped to their physics, for comparison with closed forms."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fringe.optics.lamps import lamp
from fringe.synth import Camera, Form, Lighting, Scene

# even light, no dirt, no room light, a perfect lens and a grey camera
BENCH = Lighting(
    contrast=1.0,
    unevenness=1.0,
    haze=0.0,
    ambient=0.0,
    shadow=0.0,
    background_level=0.0,
    bevel_px=0.0,
)
CAMERA = Camera(blur_px=0.0, noise=0.0, colour="mono", exposure=1.0, gamma="linear", bits=16)


def plain_scene(**changes: Any) -> Scene:
    """A scene without anything but fringes; `form` takes a `Form`."""
    base = Scene(
        width=401,
        height=401,
        radius_px=180.0,
        form=Form(power=6.0, min_gap_nm=0.0),
        lamp=lamp("mercury-green"),
        bench=BENCH,
        camera=CAMERA,
    )
    return replace(base, **changes)

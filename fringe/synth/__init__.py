"""Rendered photographs of contact fringes with known truth."""

from __future__ import annotations

from fringe.synth.files import save
from fringe.synth.gap import GapModel, gap_model, scene_gap_fringes
from fringe.synth.render import Rendered, ideal_light, render
from fringe.synth.scene import Bench, Camera, Dirt, Form, Scene

__all__ = [
    "Bench",
    "Camera",
    "Dirt",
    "Form",
    "GapModel",
    "Rendered",
    "Scene",
    "gap_model",
    "ideal_light",
    "render",
    "save",
    "scene_gap_fringes",
]

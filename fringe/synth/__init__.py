"""Rendered photographs of contact fringes with known truth."""

from __future__ import annotations

from fringe.synth.distractors import DISTRACTORS, distractor
from fringe.synth.families import FAMILIES, random_scene
from fringe.synth.files import save, save_picture
from fringe.synth.gap import GapModel, gap_model, scene_gap_fringes
from fringe.synth.rendering import Rendered, ideal_light, render
from fringe.synth.scene import Camera, Dirt, Form, Lighting, Scene
from fringe.synth.sequences import (
    Step,
    render_sequence,
    render_series,
    sense_pair,
    settle_steps,
    shift_steps,
)

__all__ = [
    "DISTRACTORS",
    "FAMILIES",
    "Camera",
    "Dirt",
    "Form",
    "GapModel",
    "Lighting",
    "Rendered",
    "Scene",
    "Step",
    "distractor",
    "gap_model",
    "ideal_light",
    "random_scene",
    "render",
    "render_sequence",
    "render_series",
    "save",
    "save_picture",
    "scene_gap_fringes",
    "sense_pair",
    "settle_steps",
    "shift_steps",
]

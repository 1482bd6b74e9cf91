"""Questions for the eye: rings or straight fringes with true physics, and their answers.

Each question is one work in three frames while it is pressed evenly onto its plate, which
thins the air film by a fifth of a fringe from frame to frame. The order at a place falls then,
so every fringe moves toward where the gap is wider: rings run outward when the contact is at
the centre, inward when it is at the edge. A single frame does not determine the sense.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.optics.lamps import Lamp
from fringe.synth.families import resolved
from fringe.synth.rendering import Rendered
from fringe.synth.scene import Camera, Dirt, Form, Lighting, Scene, Term
from fringe.synth.sequences import Step, render_sequence

Rng = np.random.Generator
SIZE = 420
STEPS = tuple(Step(piston=-0.2 * frame) for frame in range(3))
_SPACE = 12
_TERMS: tuple[tuple[tuple[int, int], float], ...] = (
    # amplitude of one fringe peak to valley: twice it for a pair of lobes, 3/2 for spherical
    ((2, 2), 1 / 2), ((3, 1), 1 / 2), ((3, 3), 1 / 2), ((4, 0), 2 / 3),
)  # fmt: skip


@dataclass(frozen=True)
class Question:
    """One question.

    Attributes
    ----------
    frames : tuple of Rendered
        While the film thins; the first one is the photograph whose truth is asked for.
    """

    frames: tuple[Rendered, ...]

    @property
    def truth(self) -> dict[str, Any]:
        """The answer of a perfect eye."""
        return self.frames[0].truth

    @property
    def strip(self) -> NDArray[np.uint8]:
        """The frames side by side, shape (M, N, 3)."""
        images = [np.asarray(frame.image, np.uint8) for frame in self.frames]
        height = images[0].shape[0]
        gap = np.full((height, _SPACE, 3), 255, np.uint8)
        parts = [images[0]]
        for image in images[1:]:
            parts += [gap, image]
        return np.concatenate(parts, axis=1)


@dataclass(frozen=True)
class Marks:
    """Errors of an answer.

    Attributes
    ----------
    power_off, irregularity_off : float or None
        Answer less truth [fringe], of the power's magnitude; None without an answer.
    sense_right : bool or None
        Whether the contact was named correctly; None without an answer.
    """

    power_off: float | None
    sense_right: bool | None
    irregularity_off: float | None


def draw_question(rng: Rng, lamp: Lamp | None = None, size: int = SIZE) -> Question:
    """Draw a question: rings or straight fringes, of either sense.

    Parameters
    ----------
    rng : numpy Generator
    lamp : Lamp, optional
        Sodium when left out.
    size : int
        Side of a frame [px].

    Raises
    ------
    BadInput
        If a frame is too small for fringes to be seen.
    """
    check_size(size)
    sign = 1 if rng.random() < 0.5 else -1
    rings = rng.random() < 0.6
    power = math.exp(rng.uniform(math.log(1.0), math.log(7.0))) if rings else rng.uniform(0.3, 1.2)
    form = Form(
        power=sign * power,
        tilt=rng.uniform(0, 1.2) if rings else rng.uniform(3, 6),
        tilt_angle_deg=rng.uniform(-180, 180),
        zernike=_errors(rng, power),
        turned_edge=rng.uniform(0.05, 0.3) * power if rng.random() < 0.2 else 0.0,
        min_gap_nm=rng.uniform(150, 400),
    )
    scene = Scene(
        width=size,
        height=size,
        radius_px=0.44 * size,
        form=form,
        bench=Lighting(contrast=rng.uniform(0.7, 0.95), unevenness=rng.uniform(1.0, 1.6)),
        dirt=Dirt(dust=int(rng.integers(0, 6))),
        camera=Camera(blur_px=0.6),
        seed=int(rng.integers(2**31)),
    )
    if lamp is not None:
        scene = replace(scene, lamp=lamp)
    return Question(tuple(render_sequence(resolved(scene, 0.2), rng, STEPS)))


def check_size(size: int) -> None:
    """Refuse a frame in which no fringes would be seen, or that no screen shows [px]."""
    if not 120 <= size <= 2000:
        raise BadInput(f"--size: {size} lies outside 120 to 2000 for a question")


def _errors(rng: Rng, power: float) -> tuple[Term, ...]:
    """One low error, a twentieth to a whole fringe peak to valley, turned anyhow.

    A symmetric one stays under a third of the power, so that the fringes do run one way.
    """
    (n, m), share = _TERMS[int(rng.integers(len(_TERMS)))]
    value = share * math.exp(rng.uniform(math.log(0.05), math.log(1.0)))
    if m == 0:
        return (((n, m), float(rng.choice([-1, 1])) * min(value, share * power / 3)),)
    turn = rng.uniform(0, 2 * math.pi)
    return (((n, m), value * math.cos(turn)), ((n, -m), value * math.sin(turn)))


def read_number(text: str) -> float | None:
    """Read an answer in fringes as it is said at the bench; None for one who does not know.

    Parameters
    ----------
    text : str
        `3`, `3.5`, `3,5`, `1/4`, `3 1/2`, with or without a sign; empty or `?`.

    Raises
    ------
    BadInput
        If it is not a number.
    """
    words = text.strip().replace(",", ".").replace("−", "-").lstrip("+-").strip()
    if words in ("", "?"):
        return None
    if not re.fullmatch(r"(\d+(\.\d*)?|\.\d+)( +\d+/\d+)?|\d+/\d+", words):
        raise BadInput(f"{text!r} is not a number of fringes; write 3, 3.5 or 1/4")
    try:
        return float(sum(Fraction(word) for word in words.split()))
    except ZeroDivisionError:
        raise BadInput(f"{text!r} divides by zero; write 3, 3.5 or 1/4") from None


def read_sense(text: str) -> str | None:
    """Read `centre` or `edge`, or the start of either; None for one who does not know.

    Raises
    ------
    BadInput
        If it is neither.
    """
    word = text.strip().lower()
    if word in ("", "?"):
        return None
    for sense in ("centre", "center", "edge"):
        if sense.startswith(word):
            return "edge" if sense == "edge" else "centre"
    raise BadInput(f"{text!r} is neither centre nor edge; write c, e or nothing")


def mark(
    question: Question, power: float | None, sense: str | None, irregularity: float | None
) -> Marks:
    """Compare an answer with the truth.

    Parameters
    ----------
    question : Question
    power, irregularity : float or None
        As they were estimated, without a sign [fringe].
    sense : {'centre', 'edge'} or None
        Where the contact was seen to be.
    """
    truth = question.truth
    return Marks(
        None if power is None else power - abs(float(truth["power_fringes"])),
        None if sense is None else sense == truth["sense"],
        None if irregularity is None else irregularity - float(truth["irregularity_fringes"]),
    )

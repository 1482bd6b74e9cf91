"""The rounds of a quiz: pictures in a folder, answers, marks, and their words."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import fmean

import numpy as np

from fringe.errors import BadInput
from fringe.files import check_folder, reason
from fringe.format import fixed
from fringe.optics.lamps import Lamp, lamp
from fringe.synth.files import save, save_picture
from fringe.synth.quiz import SIZE, Marks, Question, check_size, draw_question, mark
from fringe.synth.request import Request, parse_size

FOLDER = "fringe-quiz"
ROUNDS = 5
HOW = (
    "Each picture shows one work three times, pressed onto its plate a little more from left\n"
    "to right. Tell of the left one: the power over the edge, in fringes; where the contact\n"
    "is; and the irregularity, peak to valley. Nothing or ? if you cannot tell; Ctrl-D ends."
)
# what a quiz takes of a request; it draws the rest itself
_TAKEN = ("seed", "lamp", "size")


@dataclass(frozen=True)
class Answers:
    """What somebody said of a picture; None for what was not told [fringe]."""

    power_fringes: float | None
    sense: str | None
    irregularity_fringes: float | None


@dataclass(frozen=True)
class Round:
    """A question that was answered.

    Attributes
    ----------
    picture, photo : Path
        What was shown, and the photograph that it is of, with its truth beside it.
    question : Question
    answers : Answers
    marks : Marks
    """

    picture: Path
    photo: Path
    question: Question
    answers: Answers
    marks: Marks

    def to_json(self) -> dict[str, object]:
        """Return one of the `rounds` of `fringe synth --quiz --json`."""
        names = ("power_fringes", "sense", "irregularity_fringes", "wavelength_nm")
        return {
            "picture": str(self.picture),
            "photo": str(self.photo),
            "truth": {name: self.question.truth[name] for name in names},
            "answer": dataclasses.asdict(self.answers),
            "power_off_fringes": self.marks.power_off,
            "sense_right": self.marks.sense_right,
            "irregularity_off_fringes": self.marks.irregularity_off,
        }

    def rows(self) -> list[str]:
        """Say the truth, and how far off the answers are."""
        truth, marks = self.question.truth, self.marks
        power, way = float(truth["power_fringes"]), truth["sense"]
        verdict = {True: "right", False: "wrong", None: "not answered"}[marks.sense_right]
        ran = "outward" if way == "centre" else "inward"
        name = self.question.frames[0].scene.lamp.name
        return [
            f"  power         {fixed(power, 2, signed=True)} fringes at "
            f"{float(truth['wavelength_nm']):.1f} nm: {_off(marks.power_off)}",
            f"  contact       at the {way}: {verdict}; pressed, the fringes run {ran}",
            f"  irregularity  {fixed(float(truth['irregularity_fringes']), 2)} fringes: "
            f"{_off(marks.irregularity_off)}",
            f"  let fringe read it: fringe read {self.photo} --lamp {name}",
        ]


@dataclass(frozen=True)
class Quiz:
    """A quiz that is about to be held.

    Attributes
    ----------
    pictures : tuple of Path
        One a round.
    seed : int
    lamp : Lamp or None
    size : int
        Side of a frame [px].
    """

    pictures: tuple[Path, ...]
    seed: int
    lamp: Lamp | None
    size: int

    def ask(self, number: int) -> Question:
        """Draw the question of a round, from 1, and write its picture."""
        question = draw_question(np.random.default_rng([self.seed, number]), self.lamp, self.size)
        save_picture(question.strip, self.pictures[number - 1])
        return question

    def answered(self, number: int, question: Question, answers: Answers) -> Round:
        """Mark the answers; the truth is kept beside the picture."""
        picture = self.pictures[number - 1]
        marks = mark(question, *dataclasses.astuple(answers))
        photo = save(question.frames[0], picture.with_name(f"{picture.stem}-photo.png"))
        return Round(picture, photo, question, answers, marks)


def prepare_quiz(
    folder: Path | None,
    rounds: int | None,
    request: Request,
    *,
    frames: int | None = None,
    pair: str | None = None,
    force: bool = False,
) -> Quiz:
    """Make room for a quiz's pictures.

    Raises
    ------
    BadInput
        If something is asked for that the quiz draws itself, or the folder cannot be filled.
    """
    _check_request(request, frames, pair)
    size = SIZE if request.size is None else min(parse_size(request.size))
    check_size(size)
    light = None if request.lamp is None else lamp(request.lamp)
    folder = folder or Path(FOLDER)
    pictures = [folder / f"round-{number}.png" for number in range(1, (rounds or ROUNDS) + 1)]
    _make_room(folder, pictures, force=force)
    return Quiz(tuple(pictures), request.seed, light, size)


def summary_row(rounds: Sequence[Round], seed: int) -> str:
    """How good all answers were, in one line."""
    rows = []
    for what, off in (
        ("power", [one.marks.power_off for one in rounds]),
        ("irregularity", [one.marks.irregularity_off for one in rounds]),
    ):
        known = [abs(value) for value in off if value is not None]
        if known:
            rows.append(f"{what} {fixed(fmean(known), 2)} fringes off in the mean")
    right = [one.marks.sense_right for one in rounds]
    senses = [one for one in right if one is not None]
    if senses:
        rows.append(f"contact right {sum(senses)} of {len(senses)} times")
    return f"\n{len(rounds)} answered: {'; '.join(rows) or 'nothing told'} (seed {seed})"


def _check_request(request: Request, frames: int | None, pair: str | None) -> None:
    default = Request(seed=request.seed)
    names = [
        field.name
        for field in dataclasses.fields(request)
        if field.name not in _TAKEN and getattr(request, field.name) != getattr(default, field.name)
    ]
    names += [name for name, value in (("frames", frames), ("pair", pair)) if value is not None]
    if names:
        name = names[0]
        for unit in ("_mm", "_nm", "_deg"):
            name = name.removesuffix(unit)
        raise BadInput(f"--{name.replace('_', '-')}: the quiz draws that itself; leave it out")


def _make_room(folder: Path, pictures: Sequence[Path], *, force: bool) -> None:
    check_folder(folder, option="--out")
    for picture in pictures:
        if picture.exists() and not force:
            raise BadInput(f"{picture}: is there already; choose another folder or give --force")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise BadInput(f"--out: {folder} cannot be made: {reason(error)}") from error


def _off(value: float | None) -> str:
    if value is None:
        return "not answered"
    if abs(value) < 0.005:
        return "yours is just that"
    return f"yours is {fixed(abs(value), 2)} too {'much' if value > 0 else 'little'}"

"""`fringe synth --quiz`: train the eye, question by question."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fringe.cli.printing import print_json
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.synth.quiz import Marks, Question

T = TypeVar("T")
FOLDER = "fringe-quiz"
ROUNDS = 5


def run_quiz(
    folder: Path,
    seed: int,
    rounds: int,
    lamp: str | None,
    size: int | None,
    *,
    force: bool,
    as_json: bool,
) -> None:
    """Ask some questions, and tell how the answers were."""
    import numpy as np

    from fringe.optics.lamps import lamp as find
    from fringe.synth.quiz import SIZE, check_size, draw_question

    size = SIZE if size is None else size
    check_size(size)
    light = None if lamp is None else find(lamp)
    pictures = [folder / f"round-{number}.png" for number in range(1, rounds + 1)]
    _make_room(folder, pictures, force=force)
    if not as_json:
        click.echo(_HOW)
    told: list[dict[str, Any]] = []
    for number, picture in enumerate(pictures, 1):
        question = draw_question(np.random.default_rng([seed, number]), light, size)
        _save(question, picture)
        click.echo(f"\n{number} of {rounds}: look at {picture}", err=as_json)
        answers = _answers(as_json)
        if answers is None:
            click.echo("\nstopped", err=True)
            break
        told.append(_tell(question, picture, answers, as_json=as_json))
    if as_json:
        print_json({"seed": seed, "rounds": told})
    else:
        _sum_up(told, seed)


_HOW = (
    "Each picture shows one work three times, pressed onto its plate a little more from left\n"
    "to right. Tell of the left one: the power over the edge, in fringes; where the contact\n"
    "is; and the irregularity, peak to valley. Nothing or ? if you cannot tell; Ctrl-D ends."
)


def _make_room(folder: Path, pictures: list[Path], *, force: bool) -> None:
    from fringe.files import check_folder, reason

    check_folder(folder, option="--out")
    for picture in pictures:
        if picture.exists() and not force:
            raise BadInput(f"{picture}: is there already; choose another folder or give --force")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise BadInput(f"--out: {folder} cannot be made: {reason(error)}") from error


def _save(question: Question, picture: Path) -> None:
    from fringe.synth.files import save_picture

    save_picture(question.strip, picture)


def _answers(as_json: bool) -> tuple[float | None, str | None, float | None] | None:
    """Ask for the three answers; None when there is nobody to answer any more."""
    from fringe.synth.quiz import read_number, read_sense

    try:
        return (
            _ask("power, fringes", read_number, as_json),
            _ask("contact at the centre or the edge", read_sense, as_json),
            _ask("irregularity, fringes", read_number, as_json),
        )
    except click.Abort:
        return None


def _ask(what: str, read: Callable[[str], T], as_json: bool) -> T:
    while True:
        text = click.prompt(f"  {what}", default="", show_default=False, err=as_json)
        try:
            return read(text)
        except BadInput as error:
            click.echo(f"  {error}", err=True)


def _tell(
    question: Question,
    picture: Path,
    answers: tuple[float | None, str | None, float | None],
    *,
    as_json: bool,
) -> dict[str, Any]:
    """Say the truth, and keep it beside the picture with the photograph that it is of."""
    from fringe.synth.files import save
    from fringe.synth.quiz import mark

    power, sense, irregularity = answers
    marks = mark(question, power, sense, irregularity)
    photo = save(question.frames[0], picture.with_name(f"{picture.stem}-photo.png"))
    if not as_json:
        click.echo("\n".join(_lines(question, sense, marks, photo)))
    truth = {
        name: question.truth[name]
        for name in ("power_fringes", "sense", "irregularity_fringes", "wavelength_nm")
    }
    return {
        "picture": str(picture),
        "photo": str(photo),
        "truth": truth,
        "answer": {"power_fringes": power, "sense": sense, "irregularity_fringes": irregularity},
        "power_off_fringes": marks.power_off,
        "sense_right": marks.sense_right,
        "irregularity_off_fringes": marks.irregularity_off,
    }


def _lines(question: Question, sense: str | None, marks: Marks, photo: Path) -> list[str]:
    from fringe.format import fixed

    truth = question.truth
    power, way = float(truth["power_fringes"]), truth["sense"]
    verdict = {True: "right", False: "wrong", None: "not answered"}[marks.sense_right]
    ran = "outward" if way == "centre" else "inward"
    return [
        f"  power         {fixed(power, 2, signed=True)} fringes at "
        f"{float(truth['wavelength_nm']):.1f} nm: {_off(marks.power_off)}",
        f"  contact       at the {way}: {verdict}; pressed, the fringes run {ran}",
        f"  irregularity  {fixed(float(truth['irregularity_fringes']), 2)} fringes: "
        f"{_off(marks.irregularity_off)}",
        f"  let fringe read it: fringe read {photo} --lamp {question.frames[0].scene.lamp.name}",
    ]


def _off(value: float | None) -> str:
    from fringe.format import fixed

    if value is None:
        return "not answered"
    if abs(value) < 0.005:
        return "yours is just that"
    return f"yours is {fixed(abs(value), 2)} too {'much' if value > 0 else 'little'}"


def _sum_up(told: list[dict[str, Any]], seed: int) -> None:
    from statistics import fmean

    from fringe.format import fixed

    if not told:
        return
    rows = []
    for what in ("power", "irregularity"):
        off = [one[f"{what}_off_fringes"] for one in told]
        known = [abs(value) for value in off if value is not None]
        if known:
            rows.append(f"{what} {fixed(fmean(known), 2)} fringes off in the mean")
    senses = [one["sense_right"] for one in told if one["sense_right"] is not None]
    if senses:
        rows.append(f"contact right {sum(senses)} of {len(senses)} times")
    click.echo(f"\n{len(told)} answered: {'; '.join(rows) or 'nothing told'} (seed {seed})")

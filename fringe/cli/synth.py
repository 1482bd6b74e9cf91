"""`fringe synth`: a photograph of fringes with known truth."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from fringe.cli.params import (
    FORM,
    LENGTH,
    NM_PER_MM,
    Length,
    SenseWord,
    Written,
    gathered,
    json_option,
)
from fringe.cli.printing import answer, print_json
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.synth.quiz_rounds import Answers
    from fringe.synth.request import Request

T = TypeVar("T")


@click.command("synth", short_help="Render a photograph of fringes with known truth.")
@click.option(
    "--out",
    type=Written(kind="either"),
    metavar="PHOTO",
    help="A .jpg, .png or .tif to write; with --quiz a folder.",
)
@click.option("--power", type=float, help="Fringes; positive for contact at the centre. [5]")
@click.option(
    "--sense",
    type=SenseWord(["centre", "edge"]),
    help="Where the contact is; gives the power its sign.",
)
@click.option("--tilt", type=float, help="Fringes, edge to centre.")
@click.option("--tilt-angle", type=float, metavar="DEG", help="From +x toward +y (down).")
@click.option("--astigmatism", type=float, help="Fringes, peak to valley.")
@click.option("--coma", type=float, help="Fringes, peak to valley.")
@click.option("--trefoil", type=float, help="Fringes, peak to valley.")
@click.option("--spherical", type=float, help="Fringes, peak to valley.")
@click.option(
    "--angle",
    "angle_deg",
    type=float,
    default=0.0,
    metavar="DEG",
    help="Direction of astigmatism, coma and trefoil.",
)
@click.option("--turned-edge", type=float, help="Fringes at the rim; positive is turned down.")
@click.option("--turned-edge-width", type=float, help="Share of the semi-diameter. [0.1]")
@click.option("--zone", type=float, help="Height of a ring-shaped zone, fringes; gap opens.")
@click.option("--zone-radius", type=float, help="Share of the semi-diameter; 0: a hole. [0.6]")
@click.option("--zone-width", type=float, help="Its standard deviation, as a share. [0.08]")
@click.option("--bump", type=float, help="Height of a local spot, fringes; gap opens.")
@click.option("--bump-width", type=float, help="Its standard deviation, as a share. [0.12]")
@click.option("--pressed", type=float, help="Radius of a flat contact, share of semi-diameter.")
@click.option(
    "--min-gap",
    "min_gap_nm",
    type=Length(signed=True, scale=NM_PER_MM),
    help="Smallest gap. [0 to 500nm, by the seed]",
)
@click.option("--lamp", help="Name from `fringe lamps`, or led:PEAK_NM:FWHM_NM. [sodium]")
@click.option("--size", metavar="WxH|PX", help="Of the photograph. [1000]")
@click.option("--edge", metavar="CX,CY,R", help="Place of the edge, in pixels.")
@click.option("--diameter", "diameter_mm", type=LENGTH, help="Diameter of the aperture.")
@click.option(
    "--plate-radius", "plate_radius_mm", type=LENGTH, help="Draw the exact shape between spheres."
)
@click.option("--work", type=FORM, help="For the radius difference. [convex]")
@click.option("--camera-distance", "camera_distance_mm", type=LENGTH, help="From work to lens.")
@click.option("--view-angle", type=float, metavar="DEG", help="Off the normal: an oval edge.")
@click.option("--view-direction", type=float, metavar="DEG", help="Toward which the camera leans.")
@click.option("--perspective", is_flag=True, help="Draw the perspective of a near camera too.")
@click.option("--contrast", type=float, help="0 to 1, without lamp and lens. [0.8]")
@click.option("--multiple-beams", is_flag=True, help="Sum all reflections instead of two beams.")
@click.option("--reflectance", type=float, help="Of both faces, coated: sums all reflections.")
@click.option("--uneven", type=float, help="Brightest over darkest light on the work. [1.5]")
@click.option("--background", help="dark, paper, bright, textured or plate.")
@click.option("--noise", type=float, help="Factor on the camera's noise, 0 for none. [1]")
@click.option("--blur", type=float, metavar="PX", help="Standard deviation. [0.7]")
@click.option("--exposure", type=float, help="Brightest fringe over full scale. [0.85]")
@click.option("--dust", type=int, help="Specks.")
@click.option("--hairs", type=int, help="Hairs.")
@click.option("--scratches", type=int, help="Scratches.")
@click.option("--glare", type=int, help="Spots of glare.")
@click.option("--fingers", type=int, help="Fingers over the edge.")
@click.option("--clips", type=int, help="Clips over the edge.")
@click.option("--graticule", is_flag=True, help="A measuring eyepiece's scale.")
@click.option("--grey", is_flag=True, help="One grey channel instead of colour.")
@click.option("--bits", type=int, help="8 or 16. [8]")
@click.option("--quality", type=int, help="Of JPEG, 1 to 100. [92]")
@click.option(
    "--frames", type=int, metavar="N", help="A burst while the work is pressed: OUT-1 to OUT-N."
)
@click.option("--pair", help="press, eye or lamp: OUT-before and OUT-after, which tell the sense.")
@click.option(
    "--family",
    help="Draw all that is not given: clean, dirty, oval, led, "
    "high_power, low_power, field or mixed.",
)
@click.option("--seed", type=click.IntRange(min=0), help="Of all that is drawn. [a new one]")
@click.option("--quiz", is_flag=True, help="Train the eye: questions about pictures in a folder.")
@click.option("--rounds", type=click.IntRange(1, 99), help="Questions of the quiz. [5]")
@click.option("--force", is_flag=True, help="Write over what is there.")
@json_option
@gathered(request="fringe.synth.request.Request")
def command(
    out: Path | None,
    request: Request,
    quiz: bool,
    rounds: int | None,
    force: bool,
    frames: int | None,
    pair: str | None,
    as_json: bool,
) -> None:
    """Render a photograph of fringes with known truth.

    The truth goes beside the photograph, under the same name with .json: the quantities that
    a perfect reading would give, and every input. The same seed gives the same photograph.

    --quiz trains the eye: it draws pictures of rings or straight fringes, asks for power, contact
    and irregularity, and tells the truth. It takes --seed, --lamp, --size and --rounds.

    \b
    Example:
      fringe synth --out contact.jpg --power 3.5 --tilt 2 --lamp sodium
      fringe synth --out edge.png --sense edge --power -8 --diameter 150mm --seed 7
      fringe synth --out hard.jpg --family dirty --json
      fringe synth --out press.jpg --power 4 --pair press
    """
    if quiz:
        _quiz(out, rounds, request, frames, pair, force=force, as_json=as_json)
        return
    if rounds is not None:
        raise BadInput("--rounds: belongs to --quiz")
    from fringe.cli._waiting import waiting
    from fringe.synth.photographs import write_photographs

    with waiting("rendering", quiet=as_json):
        done = write_photographs(out, request, frames=frames, pair=pair, force=force)
    answer(as_json, done.to_json, done.rows)


def _quiz(
    out: Path | None,
    rounds: int | None,
    request: Request,
    frames: int | None,
    pair: str | None,
    *,
    force: bool,
    as_json: bool,
) -> None:
    """Ask some questions, and tell how the answers were."""
    from fringe.synth.quiz_rounds import HOW, Round, prepare_quiz, summary_row

    quiz = prepare_quiz(out, rounds, request, frames=frames, pair=pair, force=force)
    if not as_json:
        click.echo(HOW)
    done: list[Round] = []
    for number, picture in enumerate(quiz.pictures, 1):
        question = quiz.ask(number)
        click.echo(f"\n{number} of {len(quiz.pictures)}: look at {picture}", err=as_json)
        answers = _answers(as_json)
        if answers is None:
            click.echo("\nstopped", err=True)
            break
        done.append(quiz.answered(number, question, answers))
        if not as_json:
            click.echo("\n".join(done[-1].rows()))
    if as_json:
        print_json({"seed": quiz.seed, "rounds": [one.to_json() for one in done]})
    elif done:
        click.echo(summary_row(done, quiz.seed))


def _answers(as_json: bool) -> Answers | None:
    """Ask for the three answers; None when there is nobody to answer any more."""
    from fringe.synth.quiz import read_number, read_sense
    from fringe.synth.quiz_rounds import Answers

    try:
        return Answers(
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

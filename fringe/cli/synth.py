"""`fringe synth`: a photograph of fringes with known truth."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fringe.cli.params import LENGTH, SIGNED_LENGTH, Written, json_option
from fringe.cli.printing import print_json
from fringe.errors import BadInput

SENSES = click.Choice(["centre", "edge"])
WORKS = click.Choice(["convex", "concave"])


@click.command("synth", short_help="Render a photograph of fringes with known truth.")
@click.option(
    "--out",
    type=Written(kind="either"),
    metavar="PHOTO",
    help="A .jpg, .png or .tif to write; with --quiz a folder.",
)
@click.option("--power", type=float, help="Fringes; positive for contact at the centre. [5]")
@click.option("--sense", type=SENSES, help="Where the contact is; gives the power its sign.")
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
@click.option("--pressed", type=float, help="Radius of a flat contact, share of semi-diameter.")
@click.option("--min-gap", type=SIGNED_LENGTH, help="Smallest gap. [0 to 500nm, by the seed]")
@click.option("--lamp", help="Name from `fringe lamps`, or led:PEAK_NM:FWHM_NM. [sodium]")
@click.option("--size", metavar="WxH|PX", help="Of the photograph. [1000]")
@click.option("--edge", metavar="CX,CY,R", help="Place of the edge, in pixels.")
@click.option("--diameter", "diameter_mm", type=LENGTH, help="Diameter of the aperture.")
@click.option(
    "--plate-radius", "plate_radius_mm", type=LENGTH, help="Draw the exact shape between spheres."
)
@click.option("--work", type=WORKS, help="For the radius difference. [convex]")
@click.option("--camera-distance", "camera_distance_mm", type=LENGTH, help="From work to lens.")
@click.option("--view-angle", type=float, metavar="DEG", help="Off the normal: an oval edge.")
@click.option("--view-direction", type=float, metavar="DEG", help="Toward which the camera leans.")
@click.option("--perspective", is_flag=True, help="Draw the perspective of a near camera too.")
@click.option("--contrast", type=float, help="0 to 1, without lamp and lens. [0.8]")
@click.option("--multiple-beams", is_flag=True, help="Sum all reflections instead of two beams.")
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
def command(
    out: Path | None,
    quiz: bool,
    rounds: int | None,
    seed: int | None,
    force: bool,
    min_gap: float | None,
    frames: int | None,
    pair: str | None,
    as_json: bool,
    **asked: Any,
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
    seed = _new_seed() if seed is None else seed
    if quiz:
        _quiz(out, seed, rounds, min_gap, frames, pair, asked, force=force, as_json=as_json)
        return
    if out is None:
        raise BadInput("--out: say where to write the photograph, as --out contact.jpg")
    if rounds is not None:
        raise BadInput("--rounds: belongs to --quiz")
    from fringe.cli._waiting import waiting
    from fringe.synth.files import check_target, save_all, with_ending
    from fringe.synth.request import Request, describe, request_scene
    from fringe.synth.sequences import render_series, series_endings

    gap_nm = None if min_gap is None else min_gap * 1e6
    scene = request_scene(Request(seed=seed, min_gap_nm=gap_nm, **asked))
    for ending in series_endings(frames, pair):
        check_target(with_ending(out, ending), scene.camera.bits, force=force, option="--out")
    with waiting("rendering", quiet=as_json):
        series = render_series(scene, seed, frames=frames, pair=pair)
        written = save_all(series, out, force=force)
    told = [{"photo": str(path), **shot.truth} for path, shot in written]
    if as_json:
        print_json(told[0] if len(told) == 1 else {"frames": told})
    else:
        click.echo("\n".join(describe(truth) for truth in told))


def _quiz(
    out: Path | None,
    seed: int,
    rounds: int | None,
    min_gap: float | None,
    frames: int | None,
    pair: str | None,
    asked: dict[str, Any],
    *,
    force: bool,
    as_json: bool,
) -> None:
    from fringe.cli._quiz import FOLDER, ROUNDS, run_quiz

    others = asked | {"min_gap": min_gap, "frames": frames, "pair": pair}
    lamp, size = others.pop("lamp"), others.pop("size")
    given = [name for name, value in others.items() if value not in (None, False, 0.0)]
    if given:
        name = given[0].removesuffix("_mm").removesuffix("_deg").replace("_", "-")
        raise BadInput(f"--{name}: the quiz draws that itself; leave it out")
    side = None
    if size is not None:
        from fringe.synth.request import parse_size

        side = min(parse_size(size))
    run_quiz(out or Path(FOLDER), seed, rounds or ROUNDS, lamp, side, force=force, as_json=as_json)


def _new_seed() -> int:
    import secrets

    return secrets.randbelow(2**31)

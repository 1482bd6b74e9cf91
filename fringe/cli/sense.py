"""`fringe sense`: where the contact is, from two photographs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._options import LENGTH, json_option, print_json
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.orders.options import ReadOptions
    from fringe.orders.reading import Reading
    from fringe.orders.sense.two_photographs import Intervention, PairSense

WAYS = {
    "pressed-centre": "pressed at the centre",
    "lower-eye": "seen from lower down",
    "lamp": "in {name} light",
}


class _SenseCommand(click.Command):
    """A command whose `--change lamp NAME2` is one value in two words."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Join the two words before click takes them apart."""
        joined = list(args)
        for place, word in enumerate(joined[:-2]):
            name = joined[place + 2]
            if word == "--change" and joined[place + 1] == "lamp" and name[:1] != "-":
                joined[place + 1 : place + 3] = [f"lamp {name}"]
                break
        return super().parse_args(ctx, joined)


@click.command(
    "sense", cls=_SenseCommand, short_help="Tell from two photographs where the contact is."
)
@click.argument("before", type=click.Path(path_type=Path))
@click.argument("after", type=click.Path(path_type=Path))
@click.option(
    "--change", required=True, metavar="WHAT", help="pressed-centre, lower-eye, or lamp NAME2."
)
@click.option("--lamp", required=True, metavar="NAME", help="Lamp of BEFORE, see `fringe lamps`.")
@click.option(
    "--edge",
    default="auto",
    show_default=True,
    metavar="EDGE",
    help="In BEFORE: auto, CX,CY,R or CX,CY,A,B,ANGLE in pixels.",
)
@click.option(
    "--edge-after",
    metavar="EDGE",
    help="In AFTER; else BEFORE's, or found where the eye was lowered.",
)
@click.option("--diameter", type=LENGTH, metavar="L", help="Diameter of the aperture.")
@click.option("--plate-radius", type=LENGTH, metavar="L", help="Radius of the plate.")
@click.option(
    "--work",
    type=click.Choice(["convex", "concave"]),
    default="convex",
    show_default=True,
    help="Form of the work.",
)
@json_option
def command(before: Path, after: Path, as_json: bool, **given: Any) -> None:
    """Tell from two photographs where the contact is.

    Between BEFORE and AFTER one thing changes, and nothing else moves:

    pressed-centre: a finger presses gently on the middle, so that the rings move by less than
    half of their distance. They run outward with contact at the centre, inward at the edge.

    lower-eye: the camera goes down by ten to thirty degrees, further for fewer fringes, and still
    looks at the middle.

    lamp NAME2: a second lamp, ten nanometres or more away. Where the pieces touch, the fringes
    of both lamps are in step. Over few fringes take one far away, over many a near one.

    Where the pair does not decide, the sense stays unknown.

    \b
    Example:
      fringe synth --out rings.png --power 4 --pair press --size 420 --seed 7
      fringe sense rings-before.png rings-after.png --change pressed-centre --lamp sodium
    """
    from fringe.cli._waiting import waiting
    from fringe.orders.sense.two_photographs import sense_of_pair

    change = _change(given["change"], given["lamp"])
    with waiting(f"reading {before.name} and {after.name}", quiet=as_json):
        first, second, options = _read(before, after, change, given)
        pair_sense = sense_of_pair(first, second, change)
    sense, source, reason = _judged(first, pair_sense, change)
    reading = _with_sense(first, sense, source, options)
    if as_json:
        print_json(_json(reading, second, pair_sense, change, reason))
    else:
        _print(before, after, reading, change, reason)


def _change(text: str, name: str) -> Intervention:
    from fringe.optics.lamps import lamp
    from fringe.orders.sense.two_photographs import INTERVENTIONS, Intervention

    kind, _, second = text.strip().partition(" ")
    if kind not in INTERVENTIONS or bool(second.strip()) != (kind == "lamp"):
        raise BadInput(
            f"--change: {text!r} is none of pressed-centre, lower-eye, lamp NAME2, as "
            "`--change lamp mercury-green`"
        )
    first = lamp(name)
    return Intervention(kind, first, lamp(second) if kind == "lamp" else first)


def _read(
    before: Path, after: Path, change: Intervention, given: dict[str, Any]
) -> tuple[Reading, Reading, ReadOptions]:
    """Both photographs by themselves, the second over the edge of the first if it stood still."""
    from dataclasses import replace

    from fringe.cli._surface_reading import parse_edge
    from fringe.orders.options import ReadOptions
    from fringe.orders.read import read
    from fringe.photo.load import load_photo

    edge = parse_edge(given["edge"])
    if edge == "none":
        raise BadInput("--edge: the sense needs the work's edge; photograph all of it")
    options = ReadOptions(
        change.before,
        edge=edge,
        diameter_mm=given["diameter"],
        plate_radius_mm=given["plate_radius"],
        work=given["work"],
    )
    first = read(load_photo(before), options)
    if given["edge_after"] is not None:
        edge = parse_edge(given["edge_after"])
    elif change.kind == "lower-eye":
        edge = "auto"
    else:
        assert first.edge is not None
        edge = first.edge
    second = read(load_photo(after), replace(options, lamp=change.after, edge=edge))
    return first, second, options


def _judged(
    first: Reading, pair_sense: PairSense, change: Intervention
) -> tuple[str, str | None, str]:
    """Sense, what it was told by, and why; what contrast tells of the first one counts as well."""
    from fringe.orders.sense.two_photographs import SOURCES

    if pair_sense.sense == "unknown":
        return first.sense, first.sense_source, pair_sense.reason
    if first.sense not in ("unknown", pair_sense.sense):
        reason = (
            f"{pair_sense.reason}, but by the fall of contrast the contact is at the {first.sense}"
        )
        return "unknown", None, reason
    return pair_sense.sense, SOURCES[change.kind], pair_sense.reason


def _with_sense(first: Reading, sense: str, source: str | None, options: ReadOptions) -> Reading:
    """The first reading with the sign that goes with the sense."""
    from dataclasses import replace

    from fringe.orders.from_fit import with_lengths

    assert first.power_fringes is not None
    size = abs(first.power_fringes)
    signed = replace(
        first, power_fringes=-size if sense == "edge" else size, sense=sense, sense_source=source
    )
    return with_lengths(signed, options)


def _json(
    reading: Reading, second: Reading, pair_sense: PairSense, change: Intervention, reason: str
) -> dict[str, Any]:
    """The first reading with the pair's sense, and what the pair tells."""
    return {
        **reading.to_json(),
        "change": change.kind,
        "reason": reason,
        "shift_fringes": pair_sense.shift_fringes,
        "log_ratio": pair_sense.log_ratio,
        "after": second.to_json(),
    }


def _print(before: Path, after: Path, reading: Reading, change: Intervention, reason: str) -> None:
    from fringe.show.words import headline_text, sense_text, warnings_of

    way = WAYS[change.kind].format(name=change.after.name)
    values = reading.to_json()
    click.echo(f"{before.name}, then {after.name} {way}")
    click.echo(f"  {sense_text(values)}")
    click.echo(f"  {reason[0].upper()}{reason[1:]}")
    click.echo(f"  Power {headline_text(values)} at {reading.wavelength_nm:.1f} nm")
    if reading.radius_difference_mm is not None:
        from fringe.format import plus_minus

        shown = plus_minus(
            reading.radius_difference_mm,
            reading.radius_difference_u95_mm,
            "mm",
            signed=reading.sense != "unknown",
        )
        click.echo(f"  Radius, work − plate {shown}")
    for warning in warnings_of(values):
        click.echo(f"  ! {warning}")

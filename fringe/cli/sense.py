"""`fringe sense`: where the contact is, from two photographs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import (
    PATH,
    gathered,
    json_option,
    length,
    work_form,
)
from fringe.cli.printing import answer

if TYPE_CHECKING:
    from fringe.orders.options import StatedOptions


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
@click.argument("before", type=PATH)
@click.argument("after", type=PATH)
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
    help="Edge in AFTER; else that of BEFORE, or found after lower-eye.",
)
@length("--diameter", "Diameter: over all with --chamfer, else of the aperture.")
@length("--plate-radius", "Radius of the plate.")
@work_form("--work")
@json_option
@gathered(stated="fringe.orders.options.StatedOptions")
def command(
    before: Path,
    after: Path,
    change: str,
    edge_after: str | None,
    stated: StatedOptions,
    as_json: bool,
) -> None:
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
    from fringe.orders.read_pair import read_pair
    from fringe.show.text.sense import sense_rows

    with waiting(f"reading {before.name} and {after.name}", quiet=as_json):
        pair = read_pair(before, after, change, stated, edge_after)
    answer(as_json, pair.to_json, lambda: sense_rows(before.name, after.name, pair))

"""`fringe pair`: does a convex match a concave, by all that was logged of both."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import gathered, json_option, match_options, picture_option
from fringe.cli.printing import answer, write_picture

if TYPE_CHECKING:
    from fringe.archive.views.judged_pair import MatchLimits


@click.command("pair", short_help="Say whether a convex and a concave match.")
@click.argument("convex")
@click.argument("concave")
@match_options
@picture_option
@json_option
@gathered(limits="fringe.archive.views.judged_pair.MatchLimits")
def command(
    convex: str, concave: str, limits: MatchLimits, picture: Path | None, as_json: bool
) -> None:
    """Say whether a convex and a concave match, and which to work on if they do not.

    CONVEX and CONCAVE are surfaces as ARCHIVE/NAME, in either order. All that was logged since
    the last work counts: contact with their plates, with each other (`fringe log --against`),
    and the spherometer. One estimate of both radii is made of it, in which what they share
    cancels; evidence that contradicts the rest is named. Without a tolerance here, that of the
    piece whose plate is the other one counts.

    \b
    Example:
      fringe surface add shop 'convex 1' --form convex --radius 3048mm --diameter 150mm
      fringe log 'shop/concave 1' laid.jpg --against 'convex 1' --sense centre
      fringe pair 'shop/convex 1' 'shop/concave 1' --tolerance-power 2
      fringe pair 'shop/convex 1' 'shop/concave 1' --system examples/train.toml
    """
    from fringe.archive.views.judged_pair import judged_pair_by_name
    from fringe.cli._waiting import waiting
    from fringe.show.pictures import pair_picture
    from fringe.show.text.pair import pair_rows

    with waiting("weighing the evidence", quiet=as_json):
        found = judged_pair_by_name(convex, concave, limits)
        write_picture(picture, lambda: pair_picture(found))
    answer(
        as_json,
        lambda: {**found.to_json(), "picture": None if picture is None else str(picture)},
        lambda: pair_rows(found, picture),
    )

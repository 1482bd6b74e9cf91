"""`fringe glasses`: the glass table."""

from __future__ import annotations

import click

from fringe.cli.params import json_option
from fringe.cli.printing import answer


@click.command("glasses", short_help="List the glasses and what heat does to them.")
@click.argument("name", required=False)
@json_option
def command(name: str | None, as_json: bool) -> None:
    """List the glasses and what heat does to them.

    With NAME show all that is known of one glass, and where it is from. `fringe settle --glass`
    takes these names. The maker's sheet for a melt in hand goes before this table.

    \b
    Example:
      fringe glasses
      fringe glasses borosilicate
    """
    from fringe.optics.thermal import glass, glass_names
    from fringe.show.text.glasses import glass_rows, table_rows

    glasses = [glass(word) for word in ([name] if name else glass_names())]
    answer(
        as_json,
        lambda: {"glasses": [one.to_json() for one in glasses]},
        lambda: glass_rows(glasses[0]) if name else table_rows(glasses),
    )

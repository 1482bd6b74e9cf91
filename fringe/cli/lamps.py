"""`fringe lamps`: the lamp table."""

from __future__ import annotations

import click

from fringe.cli.params import json_option
from fringe.cli.printing import answer


@click.command("lamps", short_help="List the lamps and their wavelengths.")
@click.argument("name", required=False)
@json_option
def command(name: str | None, as_json: bool) -> None:
    """List the lamps and their wavelengths.

    With NAME, which may be led:PEAK_NM:FWHM_NM, show one lamp's lines, uncertainty and source.

    \b
    Example:
      fringe lamps
      fringe lamps sodium
      fringe lamps led:525:30 --json
    """
    from fringe.optics.lamps import lamp, lamp_names
    from fringe.show.text.lamps import lamp_rows, table_rows

    lamps = [lamp(word) for word in ([name] if name else lamp_names())]
    answer(
        as_json,
        lambda: {"lamps": [one.to_json() for one in lamps]},
        lambda: lamp_rows(lamps[0]) if name else table_rows(lamps),
    )

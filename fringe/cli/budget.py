"""`fringe budget`: where the uncertainty of a session comes from."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import (
    gathered,
    json_option,
    length,
    picture_option,
    uncertainty,
)
from fringe.cli.printing import answer, write_picture

if TYPE_CHECKING:
    from fringe.archive.views.session_budget import Assumptions


@click.command("budget", short_help="Show where a session's uncertainty comes from.")
@click.argument("session")
@click.argument("number", required=False)
@uncertainty("--diameter-u", "mm", "Standard uncertainty of the aperture's diameter.")
@uncertainty("--plate-radius-u", "mm", "Of the plate's radius; else from its record.")
@uncertainty("--plate-form-u", "nm", "Of the plate's form, as a height; else from its record.")
@uncertainty("--axial-u", "k", "Of the temperature difference between a piece's faces.")
@uncertainty("--pieces-u", "k", "Of the temperature difference between work and plate.")
@click.option(
    "--glass", metavar="NAME", help="Glass, by its name in the table; else the surface's."
)
@length("--thickness", "Thickness of the thinner piece.")
@click.option("--result", metavar="NAME", help="Only this result, for example power.")
@picture_option
@click.option(
    "--trials",
    type=click.IntRange(0, 10_000_000),
    default=50_000,
    show_default=True,
    help="Draws of the Monte Carlo check; 0 for none.",
)
@json_option
@gathered(assumed="fringe.archive.views.session_budget.Assumptions")
def command(
    session: str,
    number: str | None,
    assumed: Assumptions,
    result: str | None,
    picture: Path | None,
    trials: int,
    as_json: bool,
) -> None:
    """Show where the uncertainty of a session's results comes from.

    SESSION is a session's file, or ARCHIVE/NAME of a surface with the NUMBER of a visit (the
    last one that measured, without it). Each input with its standard uncertainty, its effect
    on the result, its share and degrees of freedom; a Monte Carlo run says where first order
    is not good enough. If the verdict is unproven: which input to better. The -u options are
    standard uncertainties of what the session itself does not know; an expanded one says its
    coverage: '0.3mm (k=2)', '0.3mm 95%'. ± is the 95 % interval.

    \b
    Example:
      fringe budget 'shop/concave 1'
      fringe budget 'shop/concave 1' 1 --axial-u 0.1 --glass borosilicate --thickness 25mm
      fringe budget 'shop/concave 1' --result power --picture budget.png
    """
    from fringe.archive.views.session_budget import session_budgets
    from fringe.cli._waiting import waiting
    from fringe.show.pictures import budget_picture
    from fringe.show.text.budget import budget_rows

    with waiting("working it out", quiet=as_json):
        budgets = session_budgets(session, number, assumed, result=result, trials=trials)
        write_picture(picture, lambda: budget_picture(budgets))
    answer(
        as_json,
        lambda: {**budgets.to_json(), "picture": str(picture) if picture else None},
        lambda: budget_rows(budgets, picture),
    )

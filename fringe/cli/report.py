"""`fringe report`: one page that shows what a surface or a pair is, and on what evidence."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._match import first_given, match_options, matched
from fringe.cli._options import json_option, print_json
from fringe.cli.params import Written
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.cli._waiting import Tell
    from fringe.show.reports.surface_report import SurfaceReport


@click.command("report", short_help="Write a surface's or a pair's report as one page.")
@click.argument("surface")
@click.argument("partner", required=False)
@click.option(
    "--out",
    required=True,
    type=Written(".html", ".htm"),
    metavar="FILE.html",
    help="The page to write; an older one of that name is replaced.",
)
@match_options
@json_option
def command(surface: str, partner: str | None, out: Path, as_json: bool, **given: Any) -> None:
    """Write the report of a surface, or of a pair, as one page that stands by itself.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder; with PARTNER, in either
    order, the two are a convex and a concave that must match. The page says the verdict
    first, then shows the photograph with the fitted fringes, the numbers and their budget,
    the history, and the digests of the evidence. It needs no network, and prints well. The
    options but --out are those of `fringe pair`, and say how well the two must match.

    \b
    Example:
      fringe report 'shop/concave 1' --out report.html
      fringe report 'shop/convex 1' 'shop/concave 1' --tolerance-power 4 --out pair.html
    """
    from fringe.cli._waiting import steps
    from fringe.files import write_whole

    with steps("report", quiet=as_json) as tell:
        name, report = _report(surface, partner, given, tell)
    write_whole(out, report.html.encode())
    if as_json:
        print_json(
            {
                "surface": name,
                "report": str(out),
                "verdict": report.verdict,
                "visits": report.sessions,
                "problems": list(report.problems),
            }
        )
        return
    visits = f"{report.sessions} visit{'' if report.sessions == 1 else 's'}"
    click.echo(f"{name}: {report.verdict or 'not judged'}, {visits}; report in {out}")
    for problem in report.problems:
        click.echo(f"fringe: {problem}", err=True)


def _report(
    surface: str, partner: str | None, given: dict[str, Any], tell: Tell
) -> tuple[str, SurfaceReport]:
    """Name of what is reported on, and its page."""
    if partner is not None:
        from fringe.show.reports.pair_report import pair_report

        pair = matched(surface, partner, given, proven=True, tell=tell)
        name = f"{pair.convex.name} and {pair.concave.name}"
        return name, pair_report(pair.record, pair.pair, pair.step)
    option = first_given(given)
    if option is not None:
        raise BadInput(f"{option} is of a pair; name both its surfaces")
    from fringe.archive.store.surface import find_surface
    from fringe.show.reports.surface_report import surface_report

    found = find_surface(surface)
    return found.name, surface_report(found, tell=tell)

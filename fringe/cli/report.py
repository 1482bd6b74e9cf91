"""`fringe report`: one page that shows what a surface is, and on what evidence."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli._options import json_option, print_json
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.cli._waiting import Tell
    from fringe.show.surfacereport import SurfaceReport


@click.command("report", short_help="Write a surface's report as one page.")
@click.argument("surface")
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="FILE.html",
              help="The page to write; an older one of that name is replaced.")  # fmt: skip
@json_option
def command(surface: str, out: Path, as_json: bool) -> None:
    """Write a surface's report as one page that stands by itself.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder. The page says the verdict
    first, then shows the photograph with the fitted fringes, the numbers and their budget,
    the history, and the digests of the evidence. It needs no network, and prints well.

    \b
    Example:
      fringe report 'shop/concave 1' --out report.html
    """
    from fringe.cli._waiting import steps
    from fringe.synth.files import write_whole

    _check(out)
    with steps("report", quiet=as_json) as tell:
        name, report = _report(surface, tell)
    try:
        write_whole(out, report.html.encode())
    except OSError as error:
        raise BadInput(f"{out}: cannot be written: {error.strerror or error}") from error
    if as_json:
        print_json({
            "surface": name, "report": str(out), "verdict": report.verdict,
            "visits": report.sessions, "problems": list(report.problems),
        })  # fmt: skip
        return
    visits = f"{report.sessions} visit{'' if report.sessions == 1 else 's'}"
    click.echo(f"{name}: {report.verdict or 'not judged'}, {visits}; report in {out}")
    for problem in report.problems:
        click.echo(f"fringe: {problem}", err=True)


def _report(subject: str, tell: Tell) -> tuple[str, SurfaceReport]:
    """Name of what is reported on, and its page; whatever else has a page is told apart here."""
    from fringe.archive.surface import find_surface
    from fringe.show.surfacereport import surface_report

    surface = find_surface(subject)
    return surface.name, surface_report(surface, tell=tell)


def _check(out: Path) -> None:
    """Say before the work what would stop its result from being written."""
    if out.suffix.lower() not in (".html", ".htm"):
        raise BadInput(f"--out: {out} must end in .html")
    if not out.absolute().parent.is_dir():
        raise BadInput(f"--out: there is no folder {out.absolute().parent}")
    if out.is_dir():
        raise BadInput(f"--out: {out} is a folder; name a file in it")

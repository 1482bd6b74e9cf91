"""`fringe watch`: read each photograph that arrives in a folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._options import LENGTH, json_option
from fringe.cli._surface_reading import photo_options
from fringe.errors import BadInput, FringeError

if TYPE_CHECKING:
    from fringe.archive.store.surface import Surface
    from fringe.orders.options import ReadOptions
    from fringe.orders.reading import Reading
    from fringe.photo.arrivals import Arrivals

STYLES = {"inside": "bold green", "unproven": "bold yellow", "outside": "bold red"}
# A file that cannot be opened may still be arriving, however long it has stood still.
PATIENCE_S = 10.0


class Unopened(BadInput):
    """A file that cannot be opened, or not yet."""


@click.command("watch", short_help="Read each photograph that arrives in a folder.")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--surface", metavar="ARCHIVE/NAME", help="Read for this surface, and judge by its tolerance."
)
@click.option("--lamp", metavar="NAME", help="Lamp; without it the surface's usual one.")
@photo_options
@click.option("--diameter", type=LENGTH, metavar="L", help="Diameter, without a surface.")
@click.option("--plate-radius", type=LENGTH, metavar="L", help="Of the plate, without a surface.")
@click.option(
    "--work", type=click.Choice(["convex", "concave"]), help="Form of the work, without a surface."
)
@click.option(
    "--still",
    type=click.FloatRange(0.0, 600.0),
    default=2.0,
    show_default=True,
    metavar="S",
    help="Seconds that a file must stand still to be whole.",
)
@click.option("--once", is_flag=True, help="Read the photographs that are there, then stop.")
@json_option
def command(
    folder: Path, surface: str | None, still: float, once: bool, as_json: bool, **given: Any
) -> None:
    """Read each photograph that arrives in a folder, and print its power large.

    For a tethered camera or a synced phone. Photographs that are there already are passed
    over, except with --once. One that is still being written is waited for; one that cannot
    be read is told, and the next is waited for. Nothing is logged. Ctrl-C ends it. With
    --json each photograph is one line with one object: `photo`, and `error` or the keys of
    `fringe read`.

    \b
    Example:
      fringe watch incoming --lamp sodium --diameter 150mm --once
    """
    from fringe.photo.arrivals import Arrivals

    found, options = _options(surface, given)
    arrivals = Arrivals(folder, still_s=still, old_too=once)
    show = _show_json if as_json else _show
    try:
        if not once:
            click.echo(f"watching {folder}; Ctrl-C ends it", err=True)
        count = _watch(arrivals, options, found, show, once=once, quiet=as_json)
    except KeyboardInterrupt:
        click.echo("stopped watching", err=True)
        return
    if count == 0 and not as_json:
        click.echo(f"{folder}: no photograph is there (names that end in .jpg, .png or .tif)")


def _watch(
    arrivals: Arrivals,
    options: ReadOptions,
    surface: Surface | None,
    show: Callable[[Path, Reading | FringeError, Surface | None], None],
    *,
    once: bool,
    quiet: bool,
) -> int:
    """Read what arrives; return how many photographs were answered."""
    import time

    from fringe.cli._waiting import waiting

    count = 0
    while True:
        for path in arrivals.ready():
            with waiting(f"reading {path.name}", quiet=quiet):
                answer = _answer(path, options)
            if isinstance(answer, Unopened) and arrivals.stood_s(path) < PATIENCE_S:
                arrivals.again(path)
                continue
            show(path, answer, surface)
            count += 1
        if once and arrivals.pending == 0:
            return count
        time.sleep(min(0.5, max(arrivals.still_s / 2, 0.02)))


def _answer(path: Path, options: ReadOptions) -> Reading | FringeError:
    """Read a photograph; what cannot even be opened may still be arriving."""
    from fringe.orders.read import read
    from fringe.photo.load import load_photo

    try:
        photo = load_photo(path)
    except BadInput as error:
        return Unopened(str(error))
    try:
        return read(photo, options)
    except FringeError as error:
        return error


def _options(text: str | None, given: dict[str, Any]) -> tuple[Surface | None, ReadOptions]:
    """How to read a photograph: for a surface of the archive, or by the options alone."""
    from fringe.cli._surface_reading import parse_edge, surface_options
    from fringe.orders.options import ReadOptions

    if text is not None:
        from fringe.archive.instruments import find_lamp
        from fringe.archive.store.surface import find_surface

        twice = [n for n in ("diameter", "plate_radius", "work") if given[n] is not None]
        if twice:
            name = twice[0].replace("_", "-")
            raise BadInput(f"--{name}: the surface's record says it already; leave it out")
        found = find_surface(text)
        lamp = given["lamp"] or found.lamp
        if lamp is None:
            raise BadInput(f"surface {found.name!r} has no usual lamp; give --lamp NAME")
        assert found.folder is not None
        return found, surface_options(found, find_lamp(lamp, found.folder.parent), given)
    if given["lamp"] is None:
        raise BadInput("fringes need one light: --lamp NAME (see `fringe lamps`), or --surface")
    from fringe.optics.lamps import lamp as find

    return None, ReadOptions(
        lamp=find(given["lamp"]),
        edge=parse_edge(given["edge"]),
        diameter_mm=given["diameter"],
        plate_radius_mm=given["plate_radius"],
        work=given["work"] or "convex",
        camera_distance_mm=given["camera_distance"],
        sense=given["sense"],
        scale_px_per_mm=given["scale"],
    )


def _verdict(reading: Reading, surface: Surface | None) -> Any:
    """Verdict on one reading; None without a tolerance."""
    from fringe.judge.tolerance.verdict import surface_verdict

    if surface is None:
        return None
    tolerance = surface.tolerance
    limits = (
        tolerance.power_fringes,
        tolerance.irregularity_fringes,
        tolerance.radius_difference_mm,
    )
    return None if limits == (None, None, None) else surface_verdict(reading, tolerance)


def _show_json(path: Path, answer: Reading | FringeError, surface: Surface | None) -> None:
    import json

    values: Mapping[str, Any]
    if isinstance(answer, FringeError):
        values = {"error": str(answer)}
    else:
        verdict = _verdict(answer, surface)
        values = answer.to_json() | ({} if verdict is None else {"verdict": verdict.to_json()})
    click.echo(json.dumps({"photo": str(path), **values}, allow_nan=False, ensure_ascii=False))


def _show(path: Path, answer: Reading | FringeError, surface: Surface | None) -> None:
    """Print an answer so that it is read from across the room."""
    from datetime import datetime

    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False)
    console.print(Text(f"{datetime.now():%H:%M:%S}  {path.name}", style="bold"))
    if isinstance(answer, FringeError):
        console.print(Text(f"  {' '.join(str(answer).split())}\n", style="yellow"))
        return
    from fringe.show.words import headline, quality_rows, reading_rows, sense_text, warnings_of

    values = answer.to_json()
    head = headline(values)
    _large(console, head.value)
    result = f"{head.label}: {head.value} {head.unit}".rstrip()
    console.print(Text(f"  {result} at {answer.wavelength_nm:.1f} nm"))
    if answer.power_fringes is not None:
        console.print(Text(f"  {sense_text(values)}"))
    verdict = _verdict(answer, surface)
    if verdict is not None:
        _large(console, verdict.state, STYLES[verdict.state], rows=6)
        console.print(Text(f"  {verdict.reason}"))
    for label, value in (*reading_rows(values), *quality_rows(values)):
        console.print(Text(f"  {label:<22} {value}"))
    for warning in warnings_of(values):
        console.print(Text(f"  ! {warning}"))
    console.print()


def _large(console: Any, text: str, style: str = "bold", rows: int = 9) -> None:
    """Large letters where a terminal shows them; nothing in a file or a pipe."""
    if not console.is_terminal:
        return
    from rich.text import Text

    from fringe.show.large import large_lines

    console.print(Text("\n".join(large_lines(text, console.width - 2, rows=rows)), style=style))

"""`fringe surface`: the record of what is being made, and to which tolerance."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import (
    FORM,
    PATH,
    RULE,
    chamfer_option,
    gathered,
    json_option,
    length,
    quantity,
    together,
    uncertainty,
)
from fringe.cli.printing import answer, tell

if TYPE_CHECKING:
    from fringe.archive.store.surface import Surface
    from fringe.archive.surface_record import StatedRecord

record_options = together(
    length("--radius", "Nominal radius.", certified=True),
    uncertainty("--radius-u", "mm", "Its standard uncertainty."),
    length("--diameter", "Diameter: over all with --chamfer, else of the aperture."),
    chamfer_option,
    click.option("--plate", metavar="NAME", help="Reference plate."),
    length("--plate-radius", "Its certified radius.", certified=True),
    uncertainty("--plate-radius-u", "mm", "Its standard uncertainty."),
    quantity("--tolerance-power", "fringes", "Power allowed, fringes."),
    quantity("--tolerance-irregularity", "fringes", "The same, B."),
    click.option(
        "--tolerance-radius", metavar="L|PERCENT", help="Radius allowed, either way: 3mm, 0.1%."
    ),
    length("--tolerance-wavelength", "Of those fringes: 546.07nm.", nm=True),
    click.option("--rule", type=RULE, help="Decision rule."),
    click.option("--lamp", metavar="NAME", help="Usual lamp, see `fringe lamps`."),
    click.option("--glass", metavar="TEXT", help="Glass."),
    click.option("--note", metavar="TEXT", help="Remark."),
    click.option("--watches", metavar="DIR", help="Folder that `fringe log --newest` looks into."),
)


@click.group("surface", short_help="Make a surface to keep a record of.")
def command() -> None:
    """Make a surface to keep a record of.

    A surface is a folder in an archive, and an archive is a folder anywhere. Its record says
    what the surface is meant to be; `fringe log` adds visits to it.

    \b
    Example:
      fringe surface add shop concave-1 --form concave --radius 3048mm --diameter 150mm
      fringe surface list shop
    """


@command.command("add", short_help="Add a surface to an archive.")
@click.argument("archive", type=PATH)
@click.argument("name")
@click.option("--form", type=FORM, required=True, help="Form of the work.")
@record_options
@json_option
@gathered(record="fringe.archive.surface_record.StatedRecord")
def add(archive: Path, name: str, form: str, record: StatedRecord, as_json: bool) -> None:
    """Add a surface to an archive, which is made if it is not there yet.

    The name is free text. Fringes of the tolerance are counted at --tolerance-wavelength, else
    at the lamp's, else at 546.07 nm (mercury e line, the default of ISO 10110). Where the
    archive has a record of the plate, its radius is taken from that.

    \b
    Example:
      fringe surface add shop 'concave 1' --form concave --radius 3048mm --diameter 150mm \\
        --plate P7 --plate-radius 3048.6mm --plate-radius-u 0.2mm --lamp sodium \\
        --tolerance-power 2 --tolerance-irregularity 0.3
    """
    from fringe.archive.surface_record import add_stated

    _print(add_stated(archive, name, form, record), as_json=as_json)


@command.command("change", short_help="Change a surface's record.")
@click.argument("surface")
@record_options
@json_option
@gathered(record="fringe.archive.surface_record.StatedRecord")
def change(surface: str, record: StatedRecord, as_json: bool) -> None:
    """Change a surface's record; the versions before stay as they are.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder.

    \b
    Example:
      fringe surface change 'shop/concave 1' --tolerance-power 1.5
    """
    from fringe.archive.store.surface import find_surface
    from fringe.archive.surface_record import change_stated

    _print(change_stated(find_surface(surface), record), as_json=as_json)


@command.command("move", short_help="Move a surface to another archive.")
@click.argument("surface")
@click.argument("archive", type=PATH)
@json_option
def move(surface: str, archive: Path, as_json: bool) -> None:
    """Move a surface with all its sessions to another archive, made if it is not there.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder. Its files stay as they were
    written; records of its plate and lamp are copied along.

    \b
    Example:
      fringe surface move 'shop/concave 1' finished
    """
    from fringe.archive.store.surface import find_surface
    from fringe.archive.transfer.move import move_surface

    _print(move_surface(find_surface(surface), archive), as_json=as_json)


@command.command("show", short_help="Show a surface's record.")
@click.argument("surface")
@click.option("--version", "number", type=click.IntRange(1), metavar="N", help="An older record.")
@json_option
def show(surface: str, number: int | None, as_json: bool) -> None:
    """Show a surface's record.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder.

    \b
    Example:
      fringe surface show 'shop/concave 1'
      fringe surface show 'shop/concave 1' --version 1
    """
    from fringe.archive.store.surface import find_surface, load_surface

    found = find_surface(surface)
    if number is not None:
        assert found.folder is not None
        found = load_surface(found.folder, number)
    _print(found, as_json=as_json)


@command.command("list", short_help="List an archive's surfaces.")
@click.argument("archive", type=PATH)
@json_option
def list_(archive: Path, as_json: bool) -> None:
    """List an archive's surfaces and how far each has come.

    The list comes from the archive's folder .index, which is brought up to date by the way and
    may be deleted at any time.

    \b
    Example:
      fringe surface list shop
    """
    from fringe.archive.store.index import list_archive
    from fringe.show.text.surface import listed_rows

    entries = list_archive(archive).entries
    problems = [problem for entry in entries for problem in entry.problems]
    answer(
        as_json,
        lambda: {
            "surfaces": [one.listed_json() for one in entries if one.surface is not None],
            "problems": problems,
        },
        lambda: (row for entry in entries for row in listed_rows(entry)),
    )
    if as_json:
        return
    if not entries:
        click.echo(f"{archive}: no surface yet; `fringe surface add` makes one")
    tell(problems)


def _print(surface: Surface, *, as_json: bool) -> None:
    from fringe.show.text.surface import surface_rows

    answer(as_json, surface.to_json_with_folder, lambda: surface_rows(surface))

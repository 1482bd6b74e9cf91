"""`fringe read`: the fringes in a photograph."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import (
    PATH,
    PICTURE,
    archive_option,
    gathered,
    json_option,
    length,
    photo_options,
    work_form,
    worker_options,
)
from fringe.cli.printing import answer, print_json, show, tell, write_picture

if TYPE_CHECKING:
    from fringe.orders.asked import AskedReading
    from fringe.orders.options import ReadOptions, StatedOptions

REFUSED = 2  # exit status
WIDE = 200  # columns of the table where there is no terminal


@click.command("read", short_help="Read the fringes in a photograph.")
@click.argument("photos", nargs=-1, type=PATH, metavar="PHOTO...")
@click.option("--lamp", required=True, metavar="NAME", help="Lamp, see `fringe lamps`.")
@photo_options
@archive_option
@length("--diameter", "Diameter: over all with --chamfer, else of the aperture.")
@length("--plate-radius", "Radius of the plate.")
@work_form("--work")
@click.option(
    "--by-eye",
    metavar="TEXT",
    help='Seen without a camera: "rings 3.5 centre", "bow 0.4 of spacing".',
)
@click.option(
    "--burst", is_flag=True, help="The PHOTOs are frames of one contact: solve them together."
)
@click.option(
    "--picture",
    type=PICTURE,
    metavar="OUT.png",
    help="Draw the fitted fringes on the photograph.",
)
@worker_options
@json_option
@gathered(stated="fringe.orders.options.StatedOptions")
def command(
    photos: tuple[Path, ...],
    stated: StatedOptions,
    archive: Path | None,
    by_eye: str | None,
    burst: bool,
    picture: Path | None,
    as_json: bool,
    workers: int | None,
    scheduler: str | None,
) -> None:
    """Read the fringes in a photograph.

    The power is over the work's edge, which is found, or given in pixels with --edge;
    --edge none is for a field without an edge, such as a microscope's. Several photographs are
    read at once, each by itself.

    --burst reads five frames or more of one contact as one: camera on a stand, the gap shifted a
    little between frames by pressing or settling; what the camera drifts by is taken out. Eight
    frames that spread over a spacing of the fringes give the gap to a few thousandths of a fringe.
    A film clip of three to ten seconds, taken while you press gently, serves as well: its sharp
    and still frames are chosen (needs the extra `video`).

    --by-eye takes down what was seen without a camera: rings from their centre to the edge, or
    the bow of straight fringes over the full diameter, in spacings; then where the contact is:
    centre, edge or unknown, or how it showed: rings run outward or inward as you lower your eye,
    ends of the bow bend to the thin or thick side ("bow 1/3 of spacing, ends thin"). Without
    a reading error as in "rings 3.5 +-0.1" it is a quarter of a ring, a tenth of a spacing.

    \b
    Example:
      fringe synth --out contact.jpg --power 3.2 --tilt 2 --seed 7
      fringe read contact.jpg --lamp sodium --diameter 150mm --plate-radius 3048mm
      fringe read --by-eye "rings 3.5 centre" --lamp sodium --diameter 150mm
      fringe synth --out f.jpg --power 3.2 --tilt 2 --frames 6 --size 600 --seed 7
      fringe read --burst f-1.jpg f-2.jpg f-3.jpg f-4.jpg f-5.jpg f-6.jpg --lamp sodium
    """
    from fringe.cli._waiting import waiting
    from fringe.orders.asked import read_asked

    options = _options(stated, archive)
    if len(photos) > 1 and not burst and by_eye is None:
        _several(photos, options, picture, workers, scheduler, as_json=as_json)
        return
    doing = (
        f"reading {len(photos)} frames" if burst and len(photos) > 1 else f"reading {_name(photos)}"
    )
    with waiting(doing, quiet=as_json or not photos):
        asked = read_asked(photos, options, by_eye=by_eye, burst=burst, picture=picture)
        write_picture(picture, lambda: _drawn(asked))
    answer(as_json, asked.reading.to_json, lambda: _rows(asked, picture))


def _options(stated: StatedOptions, archive: Path | None) -> ReadOptions:
    """What a reading takes; records are looked up only where they are asked for."""
    if archive is None and stated.camera is None:
        from fringe.orders.asked import named_options

        return named_options(stated)
    from fringe.archive.views.reading_options import stated_options

    return stated_options(None, stated, archive)


def _name(photos: tuple[Path, ...]) -> str:
    return photos[0].name if photos else "what was seen"


def _drawn(asked: AskedReading) -> bytes:
    from fringe.show.pictures import overlay_picture

    return overlay_picture(asked)


def _rows(asked: AskedReading, picture: Path | None) -> Iterable[str]:
    from fringe.show.text.reading import asked_rows

    return asked_rows(asked, picture)


def _several(
    photos: tuple[Path, ...],
    options: ReadOptions,
    picture: Path | None,
    workers: int | None,
    scheduler: str | None,
    *,
    as_json: bool,
) -> None:
    """Read photographs side by side and print them; status 2 if any of them is refused."""
    from fringe.cli._waiting import waiting
    from fringe.orders.asked import read_several

    with waiting(f"reading {len(photos)} photographs", quiet=as_json):
        found = read_several(photos, options, picture=picture, workers=workers, scheduler=scheduler)
    if as_json:
        print_json(found.to_json())
    else:
        from fringe.show.text.reading import several_rows, several_view

        show(lambda width: several_view(found), WIDE)
        for row in several_rows(found):
            click.echo(row)
    tell(found.refused)
    if found.refused:
        click.get_current_context().exit(REFUSED)

"""`fringe read`: the fringes in a photograph."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._options import LENGTH, json_option, print_json
from fringe.cli._surface_reading import photo_options, stated_of
from fringe.cli._workers import worker_options
from fringe.cli.params import PICTURE
from fringe.errors import BadInput

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fringe.orders.options import ReadOptions
    from fringe.orders.reading import Reading


@click.command("read", short_help="Read the fringes in a photograph.")
@click.argument("photos", nargs=-1, type=click.Path(path_type=Path), metavar="PHOTO...")
@click.option("--lamp", required=True, metavar="NAME", help="Lamp, see `fringe lamps`.")
@photo_options
@click.option("--diameter", type=LENGTH, metavar="L", help="Diameter of the aperture.")
@click.option("--plate-radius", type=LENGTH, metavar="L", help="Radius of the plate.")
@click.option(
    "--work",
    type=click.Choice(["convex", "concave"]),
    default="convex",
    show_default=True,
    help="Form of the work.",
)
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
def command(
    photos: tuple[Path, ...],
    by_eye: str | None,
    burst: bool,
    picture: Path | None,
    as_json: bool,
    workers: int | None,
    scheduler: str | None,
    **given: Any,
) -> None:
    """Read the fringes in a photograph.

    The power is over the work's edge, which is found, or given in pixels with --edge;
    --edge none is for a field without an edge, such as a microscope's. Several photographs are
    read at once, each by itself.

    --burst reads five frames or more of one contact as one: camera fixed, the gap shifted a
    little between frames by pressing or settling. Eight frames that spread over a spacing of the
    fringes give the gap to a few thousandths of a fringe.

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
    from fringe.optics.lamps import lamp

    # checked before the reader is imported, which takes its time
    options = stated_of(given).options(lamp(given["lamp"]))
    if by_eye is not None:
        if burst:
            raise BadInput("--burst belongs to photographs; leave it out with --by-eye")
        _by_eye(by_eye, photos, picture, options, as_json=as_json)
        return
    if not photos:
        raise BadInput("give a photograph to read, or --by-eye")
    if burst:
        _burst(photos, picture, options, as_json=as_json)
        return
    if len(photos) == 1:
        _one(photos[0], picture, options, as_json=as_json)
        return
    if picture is not None:
        raise BadInput("--picture: draws one photograph; give one")
    from fringe.cli._readings import read_several

    read_several(photos, options, workers=workers, scheduler=scheduler, as_json=as_json)


def _one(photo: Path, picture: Path | None, options: ReadOptions, *, as_json: bool) -> None:
    from concurrent.futures import ThreadPoolExecutor

    from fringe.cli._waiting import waiting
    from fringe.photo.load import load_photo

    if picture is not None:
        _check_picture(photo, picture)
    with (
        waiting(f"reading {photo.name}", quiet=as_json),
        ThreadPoolExecutor(1) as aside,
        _uncollected(),
    ):
        # the file is decoded while the reader is imported
        loading = aside.submit(load_photo, photo, keep_samples=picture is not None)
        from fringe.orders.read import read

        loaded = loading.result()
        reading = read(loaded, options)
        if picture is not None:
            _draw(photo, picture, reading, options, loaded.samples)
    if as_json:
        print_json(reading.to_json())
    else:
        _print(photo.name, picture, reading)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Look for no garbage for a while: what is imported and fitted is none, and is much."""
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()


def _burst(
    photos: tuple[Path, ...], picture: Path | None, options: ReadOptions, *, as_json: bool
) -> None:
    from fringe.cli._waiting import waiting
    from fringe.orders.burst.read_burst import read_burst
    from fringe.photo.frames import load_frames

    if picture is not None:
        for photo in photos:
            _check_picture(photo, picture)
    with waiting(f"reading {len(photos)} frames", quiet=as_json):
        reading = read_burst(load_frames(photos), options)
        if picture is not None:
            _draw(photos[0], picture, reading, options)
    if as_json:
        print_json(reading.to_json())
    else:
        _print(f"{photos[0].name} and {len(photos) - 1} more", picture, reading)


def _by_eye(
    text: str,
    photos: tuple[Path, ...],
    picture: Path | None,
    options: ReadOptions,
    *,
    as_json: bool,
) -> None:
    from fringe.orders.by_eye import by_eye

    if photos:
        raise BadInput("a photograph and --by-eye at once: give one of them")
    photographs = {
        "--edge": options.edge != "auto",
        "--camera-distance": options.camera_distance_mm is not None,
        "--scale": options.scale_px_per_mm is not None,
        "--picture": picture is not None,
    }
    for name, told in photographs.items():
        if told:
            raise BadInput(f"{name} belongs to a photograph; leave it out with --by-eye")
    reading = by_eye(text, options)
    if as_json:
        print_json(reading.to_json())
    else:
        _print(f"by eye: {text.strip()}", None, reading)


def _check_picture(photo: Path, picture: Path) -> None:
    if picture.exists() and photo.exists() and picture.samefile(photo):
        raise BadInput(f"--picture: {picture}: would overwrite the photograph; choose another name")


def _draw(
    photo: Path,
    picture: Path,
    reading: Reading,
    options: ReadOptions,
    samples: NDArray[Any] | None = None,
) -> None:
    from fringe.files import write_whole
    from fringe.photo.when import taken_text
    from fringe.show.figures.overlay import overlay_figure
    from fringe.show.figures.style import png_bytes

    figure = overlay_figure(
        photo if samples is None else samples,
        reading,
        title=f"{photo.name} with the fitted dark fringes",
        when=taken_text(photo),
        diameter_mm=options.diameter_mm,
        camera_distance_mm=options.camera_distance_mm,
    )
    write_whole(picture, png_bytes(figure))


def _print(name: str, picture: Path | None, reading: Reading) -> None:
    from fringe.show.words import headline_text, quality_rows, reading_rows, sense_text, warnings_of

    values = reading.to_json()
    click.echo(f"{name}  {reading.wavelength_nm:.1f} nm")
    click.echo(f"  {headline_text(values)}")
    if reading.power_fringes is not None:
        click.echo(f"  {sense_text(values)}")
    for label, value in (*reading_rows(values), *quality_rows(values)):
        if value:
            click.echo(f"  {label:<22} {value}")
    for warning in warnings_of(values):
        click.echo(f"  ! {warning}")
    if picture is not None:
        click.echo(f"  drawn in {picture}")

"""Several photographs in one call of `fringe read`: a table, and a list under `--json`."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._options import print_json
from fringe.cli._screen import console

if TYPE_CHECKING:
    from fringe.errors import FringeError
    from fringe.orders.options import ReadOptions
    from fringe.orders.reading import Reading

REFUSED = 2  # exit status
WIDE = 200


def read_several(
    photos: Sequence[Path],
    options: ReadOptions,
    *,
    workers: int | None,
    scheduler: str | None,
    as_json: bool,
) -> None:
    """Read photographs side by side and print them; status 2 if any of them is refused."""
    from fringe.cli._waiting import waiting
    from fringe.errors import FringeError
    from fringe.orders.read import read_file
    from fringe.parallel import read_each

    with waiting(f"reading {len(photos)} photographs", quiet=as_json):
        found = read_each(
            photos, partial(read_file, options=options), workers=workers, scheduler=scheduler
        )
    pairs = list(zip(photos, found, strict=True))
    refused = [one for one in found if isinstance(one, FringeError)]
    if as_json:
        print_json({"readings": [_json(*pair) for pair in pairs]})
    else:
        _print([(photo, one) for photo, one in pairs if not isinstance(one, FringeError)])
    for one in refused:
        click.echo(f"fringe: {one}", err=True)
    if refused:
        click.get_current_context().exit(REFUSED)


def _json(photo: Path, found: Reading | FringeError) -> dict[str, Any]:
    from fringe.errors import FringeError

    if isinstance(found, FringeError):
        return {"photo": str(photo), "error": str(found)}
    return {"photo": str(photo), **found.to_json()}


def _print(read: Sequence[tuple[Path, Reading]]) -> None:
    """One row a photograph, and its warnings below."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    from fringe.show.words import warnings_of

    if not read:
        return
    screen = console(WIDE)
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 1, 0, 0))
    rows = [_cells(photo, reading) for photo, reading in read]
    kept = [k for k in range(len(_COLUMNS)) if any(row[k] for row in rows)]
    for k in kept:
        left = _COLUMNS[k] in ("photograph", "contact")
        table.add_column(_COLUMNS[k], justify="left" if left else "right", overflow="fold")
    for row in rows:
        table.add_row(*(Text(row[k]) for k in kept))
    screen.print(table)
    click.echo(f"At {read[0][1].wavelength_nm:.1f} nm; powers in fringes, ± 95 %.")
    for photo, reading in read:
        for warning in warnings_of(reading.to_json()):
            click.echo(f"! {photo.name}: {warning}")


_COLUMNS = (
    "photograph",
    "power",
    "contact",
    "irregularity",
    "tilt",
    "work − plate, mm",
    "ring step, px²",
)


def _cells(photo: Path, reading: Reading) -> tuple[str, ...]:
    from fringe.format import fixed, plus_minus

    def decimals(value: float | None) -> str:
        return "" if value is None else fixed(value, 2)

    signed = reading.sense != "unknown"
    power = radius = step = ""
    if reading.power_fringes is not None:
        power = plus_minus(reading.power_fringes, reading.power_u95_fringes, signed=signed)
    elif reading.ring_step_px2 is not None:
        step = plus_minus(reading.ring_step_px2, reading.ring_step_u95_px2)
    if reading.radius_difference_mm is not None:
        radius = plus_minus(
            reading.radius_difference_mm, reading.radius_difference_u95_mm, signed=signed
        )
    return (
        photo.name,
        power,
        reading.sense if reading.power_fringes is not None else "",
        decimals(reading.irregularity_fringes),
        decimals(reading.tilt_fringes),
        radius,
        step,
    )

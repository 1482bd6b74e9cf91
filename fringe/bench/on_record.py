"""What the archive has on record that can be chosen on the page."""

from __future__ import annotations

from pathlib import Path

from fringe.archive.instruments import FOLDER, KINDS, list_instruments
from fringe.archive.store.ledger import LEDGER
from fringe.archive.store.surface import Surface, list_surfaces, load_surface
from fringe.errors import BadInput
from fringe.files import cannot_write, make_folders
from fringe.optics.lamps import lamp_names


def surfaces_of(archive: Path) -> list[Surface]:
    """An archive's surfaces; records that are damaged are left out."""
    surfaces = []
    for folder in list_surfaces(archive):
        try:
            surfaces.append(load_surface(folder))
        except BadInput:
            continue
    return surfaces


def begun_archive(archive: Path) -> list[str]:
    """Names of an archive's surfaces; a folder that is empty, or not there, becomes a new archive.

    Raises
    ------
    BadInput
        If it holds other files and no surface, or cannot be made.
    """
    if not archive.exists():
        try:
            make_folders(archive)
        except OSError as error:
            raise cannot_write(archive, error) from error
    names = [surface.name for surface in surfaces_of(archive)]
    seen = {entry.name for entry in archive.iterdir() if not entry.name.startswith(".")}
    if seen and not names and not seen & {FOLDER, LEDGER}:
        raise BadInput(
            f"{archive}: no surface yet, and files of another kind; name a new folder, or "
            "`fringe surface add` makes one"
        )
    return names


def surface_named(archive: Path, name: str) -> Surface:
    """An archive's surface; `BadInput` where there is none of that name."""
    for surface in surfaces_of(archive):
        if surface.name == name:
            return surface
    raise BadInput(f"{name}: no such surface in {archive}")


def instruments_of(archive: Path) -> dict[str, list[str]]:
    """Names of what is on record, and of all lamps, those of the table last."""
    named = {kind: [one.name for one in list_instruments(archive, kind)] for kind in KINDS}
    own = named["lamp"]
    return {
        "lamps": [*own, *(name for name in lamp_names() if name not in own)],
        "cameras": named["camera"],
        "spherometers": named["spherometer"],
        "plates": named["plate"],
    }

"""What the archive has on record that can be chosen on the page."""

from __future__ import annotations

from pathlib import Path

from fringe.archive.instruments import KINDS, list_instruments
from fringe.archive.store.surface import Surface, list_surfaces, load_surface
from fringe.errors import BadInput
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

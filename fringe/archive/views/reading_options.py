"""How photographs are to be read: what a surface's record says, and what is said beside it."""

from __future__ import annotations

from fringe.archive.instruments import find_lamp
from fringe.archive.store.surface import Surface
from fringe.errors import BadInput
from fringe.optics.lamps import Lamp
from fringe.orders.options import ReadOptions, StatedOptions


def lamp_name(surface: Surface, stated: StatedOptions) -> str:
    """Name of the lamp: as stated, else the surface's usual one; `BadInput` without either."""
    name = stated.lamp or surface.lamp
    if name is None:
        raise BadInput(
            f"surface {surface.name!r} has no usual lamp; give --lamp NAME (see `fringe lamps`)"
        )
    return name


def surface_lamp(surface: Surface, stated: StatedOptions) -> Lamp:
    """The lamp of a surface's photographs: by its archive's records, else by the table."""
    archive = None if surface.folder is None else surface.folder.parent
    return find_lamp(lamp_name(surface, stated), archive)


def surface_options(surface: Surface, lamp: Lamp, stated: StatedOptions) -> ReadOptions:
    """Join what a surface's record and a person say about a photograph."""
    return ReadOptions(
        lamp=lamp,
        edge=stated.parsed_edge(),
        diameter_mm=surface.diameter_mm,
        plate_radius_mm=surface.plate_radius_mm,
        work=surface.form,
        camera_distance_mm=stated.camera_distance_mm,
        sense=stated.sense,
        scale_px_per_mm=stated.scale_px_per_mm,
    )


def stated_options(surface: Surface | None, stated: StatedOptions) -> ReadOptions:
    """How to read a photograph: of a surface, or by what is said alone.

    Raises
    ------
    BadInput
        Without a lamp, or for an edge or a lamp that is none.
    """
    if surface is not None:
        return surface_options(surface, surface_lamp(surface, stated), stated)
    if stated.lamp is None:
        raise BadInput("give the lamp: --lamp NAME (see `fringe lamps`), or --surface")
    return stated.options(find_lamp(stated.lamp))

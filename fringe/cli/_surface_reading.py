"""Options of commands that read photographs, and the reader that they describe."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fringe.cli._bench import PositiveNumber
from fringe.cli._options import LENGTH

if TYPE_CHECKING:
    from fringe.archive.store.surface import Surface
    from fringe.optics.lamps import Lamp
    from fringe.orders.options import ReadOptions
    from fringe.orders.reading import Reading
    from fringe.photo.ellipse import Edge

F = TypeVar("F", bound=Callable[..., Any])
OPTIONS = (
    click.option("--lamp", metavar="NAME", help="Lamp; without it the surface's usual one."),
    click.option(
        "--edge",
        default="auto",
        show_default=True,
        metavar="EDGE",
        help="auto, none, CX,CY,R or CX,CY,A,B,ANGLE in pixels.",
    ),
    click.option(
        "--camera-distance", type=LENGTH, metavar="L", help="From the work to the camera."
    ),
    click.option(
        "--sense",
        type=click.Choice(["auto", "centre", "edge"]),
        default="auto",
        show_default=True,
        help="Where the contact is, if you know.",
    ),
    click.option(
        "--scale", type=PositiveNumber(), metavar="PX_PER_MM", help="Pixels a millimetre."
    ),
)


def surface_reading_options(function: F) -> F:
    """Add the options of `fringe read` that a surface's record does not already answer."""
    for option in reversed(OPTIONS):
        function = option(function)
    return function


def photo_options(function: F) -> F:
    """Add the options that say how a photograph was taken, without the lamp."""
    for option in reversed(OPTIONS[1:]):
        function = option(function)
    return function


def surface_reader(
    surface: Surface, lamp: Lamp, given: dict[str, Any]
) -> Callable[[Path], Reading]:
    """Return what reads a photograph of a surface with the options that were given."""
    return partial(read_file, surface_options(surface, lamp, given))


def read_file(options: ReadOptions, path: Path) -> Reading:
    """Read one photograph; a function of a module, so that other processes can be sent it."""
    from fringe.orders.read import read
    from fringe.photo.load import load_photo

    return read(load_photo(path), options)


def surface_options(surface: Surface, lamp: Lamp, given: dict[str, Any]) -> ReadOptions:
    """Join what a surface's record and the command line say about a photograph."""
    from fringe.orders.options import ReadOptions

    return ReadOptions(
        lamp=lamp,
        edge=parse_edge(given["edge"]),
        diameter_mm=surface.diameter_mm,
        plate_radius_mm=surface.plate_radius_mm,
        work=surface.form,
        camera_distance_mm=given["camera_distance"],
        sense=given["sense"],
        scale_px_per_mm=given["scale"],
    )


def parse_edge(text: str) -> str | Edge:
    """Read an edge as `auto`, `none`, `CX,CY,R` or `CX,CY,A,B,ANGLE`.

    Raises
    ------
    BadInput
        If it is none of these, or describes no ellipse.
    """
    from fringe.photo.edge_text import edge_from_text

    return edge_from_text(text, "--edge")

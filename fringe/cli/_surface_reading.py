"""Options of commands that read photographs, and the reader that they describe."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fringe.cli._bench import PositiveNumber
from fringe.cli._options import LENGTH

if TYPE_CHECKING:
    from fringe.orders.options import StatedOptions
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


def stated_of(given: dict[str, Any]) -> StatedOptions:
    """How photographs were taken, by the options of a command that has some of these."""
    from fringe.orders.options import StatedOptions

    return StatedOptions(
        lamp=given.get("lamp"),
        camera=given.get("camera"),
        edge=parse_edge(given["edge"]),
        sense=given.get("sense", "auto"),
        camera_distance_mm=given.get("camera_distance"),
        scale_px_per_mm=given.get("scale"),
        diameter_mm=given.get("diameter"),
        plate_radius_mm=given.get("plate_radius"),
        work=given.get("work"),
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

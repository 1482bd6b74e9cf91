"""The settings of a reading: lamp, edge, sizes and view of a photograph."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fringe.errors import BadInput
from fringe.optics.lamps import Lamp
from fringe.photo.edge_text import edge_from_text
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo


@dataclass(frozen=True)
class ReadOptions:
    """Settings of a reading: what is known of a photograph beside its pixels.

    Attributes
    ----------
    lamp : Lamp
    edge : Edge or str
        The aperture's rim in the photograph, `auto` to find it, `none` when it is not in view.
    diameter_mm, plate_radius_mm : float, optional
        Of the aperture and of the plate [mm].
    work : str
        Form of the work, `convex` or `concave`.
    camera_distance_mm : float, optional
        From the work to the camera's lens [mm].
    sense : str
        `centre` or `edge` when known, else `auto`.
    scale_px_per_mm : float, optional
    u_diameter_mm, u_plate_radius_mm : float
        Standard uncertainties of these two; 0 where they are taken as exact [mm].
    plate : str
        Name of the plate, whose error all readings on it share.
    """

    lamp: Lamp
    edge: Edge | str = "auto"
    diameter_mm: float | None = None
    plate_radius_mm: float | None = None
    work: str = "convex"
    camera_distance_mm: float | None = None
    sense: str = "auto"
    scale_px_per_mm: float | None = None
    u_diameter_mm: float = 0.0
    u_plate_radius_mm: float = 0.0
    plate: str = ""


@dataclass(frozen=True)
class StatedOptions:
    """What is said of a photograph, as a person types it; see :class:`ReadOptions`.

    Attributes
    ----------
    lamp : str or None
        Name of the lamp.
    edge : str
        `auto`, `none`, ``CX,CY,R`` or ``CX,CY,A,B,ANGLE`` [px; degree].
    work : str or None
        Form of the work; convex where nothing is said.
    """

    lamp: str | None = None
    edge: str = "auto"
    diameter_mm: float | None = None
    plate_radius_mm: float | None = None
    work: str | None = None
    camera_distance_mm: float | None = None
    sense: str = "auto"
    scale_px_per_mm: float | None = None

    def parsed_edge(self) -> Edge | str:
        """The edge in numbers; raises `BadInput` for text that is none."""
        return edge_from_text(self.edge, "--edge")

    def options(self, light: Lamp) -> ReadOptions:
        """Return what a reading takes, for a lamp that was looked up."""
        return ReadOptions(
            lamp=light,
            edge=self.parsed_edge(),
            diameter_mm=self.diameter_mm,
            plate_radius_mm=self.plate_radius_mm,
            work=self.work or "convex",
            camera_distance_mm=self.camera_distance_mm,
            sense=self.sense,
            scale_px_per_mm=self.scale_px_per_mm,
        )


def check_edge(photo: Photo, edge: Edge) -> None:
    """Raise BadInput for an edge that cannot be an aperture in this photograph."""
    if not (edge.a > 0 and edge.b > 0):
        raise BadInput("--edge: the radius must be greater than zero")
    if edge.b < 0.3 * edge.a:
        raise BadInput("--edge: B/A under 0.3 is a view too oblique to read; photograph from above")
    x, y = edge.pixels(np.cos(np.linspace(0, 2 * np.pi, 72)), np.sin(np.linspace(0, 2 * np.pi, 72)))
    inside = (x > -1) & (y > -1) & (x < photo.width) & (y < photo.height)
    if inside.mean() < 0.5 or not (0 <= edge.cx < photo.width and 0 <= edge.cy < photo.height):
        raise BadInput(
            f"--edge: lies outside {photo.name} ({photo.width} x {photo.height} pixels);"
            " give the edge in pixels of this photograph"
        )

"""How the photographs on the bench were taken, as the page says it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

from fringe.orders.options import StatedOptions
from fringe.photo.ellipse import Edge

SENSES = ("auto", "centre", "edge")


@dataclass(frozen=True)
class Settings:
    """How the photographs on the bench were taken."""

    surface: str | None = None
    lamp: str | None = None
    sense: str = "auto"
    camera_distance_mm: float | None = None  # said by hand, before what the camera's record says
    camera: str | None = None
    against: str | None = None  # the piece that the work is laid on, where it is not its plate
    aperture_mm: float | None = None  # of a plate smaller than the work

    def for_next_visit(self) -> Settings:
        """What holds for the next visit as well: how the pieces lay was said of this one."""
        return replace(self, sense="auto", against=None, aperture_mm=None)

    def stated(self, edge: Edge | str = "auto") -> StatedOptions:
        """How a photograph with this edge was taken."""
        return StatedOptions(
            lamp=self.lamp,
            camera=self.camera,
            edge=edge,
            sense=self.sense,
            camera_distance_mm=self.camera_distance_mm,
        )

    def to_json(self) -> dict[str, Any]:
        """Return the form that is kept."""
        return asdict(self)

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> Settings:
        """Read the kept form; what a later program added is left out."""
        names = {one.name for one in fields(cls)}
        return cls(**{name: value for name, value in values.items() if name in names})

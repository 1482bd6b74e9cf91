"""The settings of a reading: lamp, edge, sizes and view of a photograph."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from fringe.errors import BadInput
from fringe.optics.lamps import Lamp
from fringe.orders.chamfer import face_mm, u_face_mm
from fringe.orders.plate_map import PlateMap
from fringe.photo.edge_text import edge_from_text, text_of_edge
from fringe.photo.ellipse import Edge
from fringe.units import angle_deg

if TYPE_CHECKING:
    from fringe.optics.mixed_lamps import ChannelLight
    from fringe.photo.load import Photo

# Standard uncertainty of the gap at a contact that dust may hold apart [um]; a gap that is
# said is known to a tenth (ours, no source)
DUST_UM, KNOWN_GAP_SHARE = 0.5, 0.1


@dataclass(frozen=True)
class ContactGap:
    """Least gap between work and plate and its standard uncertainty, in `um` or fringes."""

    value: float
    u: float

    def fringes(self, wavelength_nm: float) -> ContactGap:
        """The same in fringes of a wavelength, from um."""
        unit = 2e3 / wavelength_nm
        return ContactGap(self.value * unit, self.u * unit)


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
    chamfer_mm : float, optional
        Width of the chamfer outside the aperture; None where nothing is known of one [mm].
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
    plate_back : str
        Back of the plate, `flat` or `concentric` with its face; empty where it is not known.
    gap_um, u_gap_um : float, optional
        Least gap between the two, where they come nearest, and its standard uncertainty [um].
        Seen from near, a lifted contact reads as power. Without them what dust can do.
    plate_map : PlateMap, optional
        The plate's own form, which is taken out where `plate_turned_deg` says how it lies.
    plate_turned_deg : float, optional
        By how much the plate was turned since its map, from +x toward +y [degree].
    channel_light : ChannelLight, optional
        Of a lamp of several colours, what the channel sees of it in which it is read; `lamp` is
        the line that dominates there.
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
    gap_um: float | None = None
    u_gap_um: float | None = None
    plate_map: PlateMap | None = None
    plate_turned_deg: float | None = None
    plate_back: str = ""
    chamfer_mm: float | None = None
    channel_light: ChannelLight | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        """Refuse a gap that cannot be."""
        for name in ("gap_um", "u_gap_um"):
            value = getattr(self, name)
            if value is not None and not 0 <= value < math.inf:
                raise BadInput(f"--gap: {value:g} um is no gap; it is zero or more")

    @property
    def contact_gap(self) -> ContactGap:
        """The least gap, with what dust can do where it is not said."""
        if self.gap_um is None:
            return ContactGap(0.0, DUST_UM if self.u_gap_um is None else self.u_gap_um)
        u = KNOWN_GAP_SHARE * self.gap_um if self.u_gap_um is None else self.u_gap_um
        return ContactGap(self.gap_um, u)

    def to_json(self) -> dict[str, object]:
        """Return the form that is kept with a reading; what is not known is left out."""
        edge = self.edge
        values: dict[str, Any] = {
            "lamp": self.lamp.name,
            "edge": edge if isinstance(edge, str) else text_of_edge(edge),
            "sense": self.sense,
            "diameter_mm": self.diameter_mm,
            "plate_radius_mm": self.plate_radius_mm,
            "work": self.work,
            "camera_distance_mm": self.camera_distance_mm,
            "scale_px_per_mm": self.scale_px_per_mm,
            "u_diameter_mm": self.u_diameter_mm or None,
            "u_plate_radius_mm": self.u_plate_radius_mm or None,
            "plate": self.plate or None,
            "plate_back": self.plate_back or None,
            "gap_um": self.gap_um,
            "u_gap_um": self.u_gap_um,
            "plate_map": self.plate_map and self.plate_map.to_json(),
            "plate_turned_deg": self.plate_turned_deg,
            "chamfer_mm": self.chamfer_mm,
        }
        if isinstance(edge, Edge) and _read_back(values["edge"]).u_px != edge.u_px:
            values["edge_u_px"] = edge.u_px  # the text's last digit says otherwise
        return {name: value for name, value in values.items() if value is not None}

    @classmethod
    def from_json(cls, lamp: Lamp, values: Mapping[str, Any]) -> ReadOptions:
        """Read the kept form; the lamp is kept beside it, with its lines as they were used.

        Raises
        ------
        BadInput
            If a value makes no sense.
        """
        try:
            edge = edge_from_text(str(values.get("edge", "auto")))
            u_px, kept_map = _number(values, "edge_u_px"), values.get("plate_map")
            if isinstance(edge, Edge) and u_px is not None:
                edge = replace(edge, u_px=u_px)
            return cls(
                lamp=lamp,
                edge=edge,
                diameter_mm=_number(values, "diameter_mm"),
                plate_radius_mm=_number(values, "plate_radius_mm"),
                work=str(values.get("work", "convex")),
                camera_distance_mm=_number(values, "camera_distance_mm"),
                sense=str(values.get("sense", "auto")),
                scale_px_per_mm=_number(values, "scale_px_per_mm"),
                u_diameter_mm=_number(values, "u_diameter_mm") or 0.0,
                u_plate_radius_mm=_number(values, "u_plate_radius_mm") or 0.0,
                plate=str(values.get("plate") or ""),
                plate_back=str(values.get("plate_back") or ""),
                gap_um=_number(values, "gap_um"),
                u_gap_um=_number(values, "u_gap_um"),
                plate_map=None if kept_map is None else PlateMap.from_json(kept_map),
                plate_turned_deg=_number(values, "plate_turned_deg"),
                chamfer_mm=_number(values, "chamfer_mm"),
            )
        except (TypeError, ValueError) as error:
            raise BadInput(f"its options cannot be used: {error}") from error


@dataclass(frozen=True)
class StatedOptions:
    """What is said of a photograph, as a person types it; see :class:`ReadOptions`.

    Attributes
    ----------
    lamp, camera : str or None
        Name of the lamp, and of a camera on record.
    edge : Edge or str
        An ellipse, or `auto`, `none`, ``CX,CY,R`` or ``CX,CY,A,B,ANGLE`` [px; degree].
    work : str or None
        Form of the work; convex where nothing is said.
    diameter_mm, chamfer_mm : float or None
        Of the work over all, and width of its chamfer; without the latter the diameter is the
        aperture's [mm].
    gap_mm : float or None
        Least gap between the two, where dust or a ring holds them apart [mm].
    plate_turned : str or None
        By how much the plate was turned since its map was made, as ``0deg``.
    """

    lamp: str | None = None
    edge: Edge | str = "auto"
    diameter_mm: float | None = None
    plate_radius_mm: float | None = None
    work: str | None = None
    camera_distance_mm: float | None = None
    sense: str = "auto"
    scale_px_per_mm: float | None = None
    camera: str | None = None
    gap_mm: float | None = None
    plate_turned: str | None = None
    chamfer_mm: float | None = None

    @property
    def aperture_mm(self) -> float | None:
        """Diameter of the aperture [mm]; `BadInput` for a chamfer of a work without a diameter."""
        if self.diameter_mm is None:
            if self.chamfer_mm is not None:
                raise BadInput("--chamfer: give the diameter over all as well, as --diameter 150mm")
            return None
        return face_mm(self.diameter_mm, self.chamfer_mm)

    def u_aperture_mm(self, u_stated_mm: float = 0.0) -> float:
        """Standard uncertainty of that, from what was stated of diameter and chamfer [mm]."""
        aperture = self.aperture_mm
        return 0.0 if aperture is None else u_face_mm(aperture, self.chamfer_mm, u_stated_mm)

    def parsed_edge(self) -> Edge | str:
        """The edge in numbers; raises `BadInput` for text that is none."""
        return self.edge if isinstance(self.edge, Edge) else edge_from_text(self.edge, "--edge")

    def options(self, light: Lamp) -> ReadOptions:
        """Return what a reading takes, for a lamp that was looked up."""
        return ReadOptions(
            lamp=light,
            edge=self.parsed_edge(),
            diameter_mm=self.aperture_mm,
            u_diameter_mm=self.u_aperture_mm(),
            chamfer_mm=self.chamfer_mm,
            plate_radius_mm=self.plate_radius_mm,
            work=self.work or "convex",
            camera_distance_mm=self.camera_distance_mm,
            sense=self.sense,
            scale_px_per_mm=self.scale_px_per_mm,
            gap_um=None if self.gap_mm is None else 1e3 * self.gap_mm,
            plate_turned_deg=self.plate_turned_deg(),
        )

    def plate_turned_deg(self) -> float | None:
        """How the plate lies as a number [degree]; raises `BadInput` for text that is none."""
        text = self.plate_turned
        return None if text is None else angle_deg(text, "--plate-turned")


def _read_back(text: str) -> Edge:
    edge = edge_from_text(text)
    assert isinstance(edge, Edge)
    return edge


def _number(values: Mapping[str, Any], name: str) -> float | None:
    return None if values.get(name) is None else float(values[name])


def check_edge(photo: Photo, edge: Edge) -> None:
    """Raise BadInput for an edge that cannot be an aperture in this photograph."""
    import numpy as np

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

"""Records of instruments as they are stated, field by field, before they are written."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

from fringe.archive.instruments import Instrument, add_instrument, load_instrument
from fringe.errors import BadInput
from fringe.judge.plates.calibration import months
from fringe.optics.lamps import lamp_names
from fringe.units import TypedLength, times


@dataclass(frozen=True)
class PlateRecord:
    """A reference plate; lengths [mm], the form's uncertainty as a height [nm].

    Its certificate is of a date (ISO 8601), and is to be renewed after a time as `24 months`.
    """

    form: str
    radius_mm: float
    radius_u_mm: float | None = None
    how: str | None = None
    diameter_mm: float | None = None
    thickness_mm: float | None = None
    glass: str | None = None
    back: str | None = None
    form_u_nm: float | None = None
    sphericity: str | None = None
    note: str | None = None
    as_typed: str | None = None
    certified: str | None = None
    issued_by: str | None = None
    recalibrate: str | None = None
    kind: ClassVar[str] = "plate"

    def values(self, name: str) -> dict[str, object]:
        """Fields as the record's file has them."""
        return {
            "form": self.form,
            "radius_mm": self.radius_mm,
            "u_radius_mm": self.radius_u_mm,
            "how_known": self.how,
            "certified": self.certified,
            "issued_by": self.issued_by,
            "recalibrate_months": None if self.recalibrate is None else months(self.recalibrate),
            "diameter_mm": self.diameter_mm,
            "thickness_mm": self.thickness_mm,
            "glass": self.glass,
            "back": self.back,
            "u_form_nm": self.form_u_nm,
            "sphericity": self.sphericity,
            "note": self.note,
            "as_typed": self.as_typed,
        }


@dataclass(frozen=True)
class SpherometerRecord:
    """A spherometer: a plain ring, three legs or feet on a circle [mm].

    Its gauge was calibrated on a date (ISO 8601), and drifts by `drift_mm` a year.
    """

    ring: tuple[TypedLength, ...] = ()
    legs: tuple[TypedLength, ...] = ()
    foot_circle_mm: float | None = None
    ball_mm: float | None = None
    size_u_mm: float | None = None
    ball_u_mm: float | None = None
    reading_u_mm: float | None = None
    scale_u: float | None = None
    calibrated: str | None = None
    drift_mm: float | None = None
    note: str | None = None
    as_typed: str | None = None
    kind: ClassVar[str] = "spherometer"

    def values(self, name: str) -> dict[str, object]:
        """Fields as the record's file has them."""
        if len(self.ring) > 2:
            raise BadInput("--ring takes an inner and an outer diameter")
        reading_u, drift = self.reading_u_mm, self.drift_mm
        return {
            "ring_inner_mm": self.ring[0].mm if self.ring else None,
            "ring_outer_mm": self.ring[1].mm if len(self.ring) == 2 else None,
            "legs_mm": [leg.mm for leg in self.legs] or None,
            "foot_circle_mm": self.foot_circle_mm,
            "ball_diameter_mm": self.ball_mm,
            "u_size_mm": self.size_u_mm,
            "u_ball_diameter_mm": self.ball_u_mm,
            "u_reading_um": times(reading_u, 1e3),
            "u_scale": self.scale_u,
            "calibrated": self.calibrated,
            "u_drift_um_per_year": None if drift is None else drift * 1000,
            "note": self.note,
            "as_typed": self.as_typed,
        }


@dataclass(frozen=True)
class CameraRecord:
    """A camera on its stand: how far away [mm], and pixels for a millimetre of the work."""

    distance_mm: float | None = None
    distance_u_mm: float | None = None
    scale_px_per_mm: float | None = None
    scale_u_px_per_mm: float | None = None
    note: str | None = None
    as_typed: str | None = None
    kind: ClassVar[str] = "camera"

    def values(self, name: str) -> dict[str, object]:
        """Fields as the record's file has them."""
        return {
            "distance_mm": self.distance_mm,
            "u_distance_mm": self.distance_u_mm,
            "scale_px_per_mm": self.scale_px_per_mm,
            "u_scale_px_per_mm": self.scale_u_px_per_mm,
            "note": self.note,
            "as_typed": self.as_typed,
        }


@dataclass(frozen=True)
class LampRecord:
    """A lamp that the shipped table does not have; lines as NM:WEIGHT:FWHM."""

    lines: tuple[str, ...]
    source: str
    wavelength_u_nm: float | None = None
    note: str | None = None
    as_typed: str | None = None
    kind: ClassVar[str] = "lamp"

    def values(self, name: str) -> dict[str, object]:
        """Fields as the record's file has them."""
        if name.strip().lower() in lamp_names():
            raise BadInput(f"{name} is a lamp of the shipped table; give yours a name of its own")
        return {
            "lines": [_line(text) for text in self.lines],
            "u_wavelength_nm": self.wavelength_u_nm,
            "source": self.source,
            "note": self.note,
            "as_typed": self.as_typed,
        }


Record = PlateRecord | SpherometerRecord | CameraRecord | LampRecord


def add_record(archive: Path, name: str, record: Record, *, replace: bool = False) -> Instrument:
    """Write the record of an instrument; see :func:`fringe.archive.instruments.add_instrument`."""
    return add_instrument(archive, record.kind, name, record.values(name), replace=replace)


def load_camera(archive: Path, name: str) -> CameraRecord:
    """Load the record of a camera; raises `BadInput` where there is none of that name."""
    values = load_instrument(archive, "camera", name).values
    return CameraRecord(
        distance_mm=values.get("distance_mm"),
        distance_u_mm=values.get("u_distance_mm"),
        scale_px_per_mm=values.get("scale_px_per_mm"),
        scale_u_px_per_mm=values.get("u_scale_px_per_mm"),
        note=values.get("note"),
    )


def _line(text: str) -> dict[str, float]:
    words = text.split(":")
    try:
        numbers = [float(word) for word in words]
    except ValueError:
        numbers = []
    if not 1 <= len(numbers) <= 3:
        raise BadInput(f"--line: {text!r} is not a line; write NM:WEIGHT:FWHM, as 546.07:1:10")
    names = ("wavelength_nm", "weight", "fwhm_nm")
    return dict(zip(names, [*numbers, 1.0][: max(2, len(numbers))], strict=False))

"""Instruments as a device sends them: their records, every value checked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from fringe.archive.instrument_records import (
    CameraRecord,
    LampRecord,
    PlateRecord,
    Record,
    SpherometerRecord,
)
from fringe.bench.typed import called, length_of, text_of
from fringe.certificates import certified, standard_uncertainty
from fringe.errors import BadInput
from fringe.length_lists import typed_lengths
from fringe.units import TypedLength, number

_LONGEST = 200


class _Stated:
    """Values of one instrument; expanded uncertainties are noted as they were typed."""

    def __init__(self, values: Mapping[str, Any]) -> None:
        self.values = values
        self.typed: list[str] = []

    def text(self, name: str) -> str | None:
        return text_of(self.values, name, _LONGEST)

    def length(self, name: str) -> float | None:
        return length_of(self.values, name)

    def lengths(self, name: str) -> tuple[TypedLength, ...]:
        text = self.text(name)
        return () if text is None else typed_lengths(text, called(name), "mm")

    def certified(self, name: str) -> tuple[float | None, float | None]:
        """A length as a certificate prints it, and its standard uncertainty [mm]."""
        text = self.text(name)
        if text is None:
            return None, None
        found = certified(text, called(name))
        self._note(name, found.text)
        return found.value, found.u

    def uncertainty(self, name: str, *, plain: bool = False) -> float | None:
        """A standard uncertainty [mm, or as typed]."""
        text = self.text(name)
        if text is None:
            return None
        found = standard_uncertainty(text, called(name), plain=plain)
        self._note(name, found.text)
        return found.u

    def number(self, name: str) -> float | None:
        text = self.text(name)
        return None if text is None else number(text, called(name))

    @property
    def as_typed(self) -> str | None:
        return "; ".join(self.typed) or None

    def _note(self, name: str, text: str | None) -> None:
        # the record names them by the options of the command line
        if text is not None:
            self.typed.append(f"--{name.replace('_', '-')} {text}")


def instrument_record(values: Mapping[str, Any]) -> tuple[str, Record]:
    """Name and record of an instrument that is put on record.

    Raises
    ------
    BadInput
        If its kind is none, or something needed is missing or makes no sense.
    """
    stated, kind = _Stated(values), text_of(values, "kind", 20) or ""
    if kind not in _MADE:
        raise BadInput(f"{kind or 'nothing'} is no plate, spherometer, camera or lamp")
    name = stated.text("name")
    if name is None:
        raise BadInput("give it a name")
    return name, _MADE[kind](stated)


def _plate(stated: _Stated) -> PlateRecord:
    radius, radius_u = stated.certified("radius")
    if radius is None:
        raise BadInput("radius: a plate needs its certified radius, as 3048.60 ± 0.30 mm (k=2)")
    form_u = stated.uncertainty("form_u")
    return PlateRecord(
        form=stated.text("form") or "",
        radius_mm=radius,
        radius_u_mm=radius_u,
        how=stated.text("how"),
        certified=stated.text("certified"),
        recalibrate=stated.text("recalibrate"),
        diameter_mm=stated.length("diameter"),
        thickness_mm=stated.length("thickness"),
        glass=stated.text("glass"),
        back=stated.text("back"),
        form_u_nm=None if form_u is None else 1e6 * form_u,
        note=stated.text("note"),
        as_typed=stated.as_typed,
    )


def _spherometer(stated: _Stated) -> SpherometerRecord:
    feet = stated.text("feet") or ""
    size = stated.lengths("size")
    if not size:
        raise BadInput("size: say how wide its ring, legs or circle of feet are, as 140mm")
    if feet == "circle" and len(size) > 1:
        raise BadInput("size: one circle has one diameter")
    return SpherometerRecord(
        ring=size if feet == "ring" else (),
        legs=size if feet == "legs" else (),
        foot_circle_mm=size[0].mm if feet == "circle" else None,
        ball_mm=stated.length("ball"),
        size_u_mm=stated.uncertainty("size_u"),
        ball_u_mm=stated.uncertainty("ball_u"),
        reading_u_mm=stated.uncertainty("reading_u"),
        calibrated=stated.text("calibrated"),
        drift_mm=stated.uncertainty("drift"),
        note=stated.text("note"),
        as_typed=stated.as_typed,
    )


def _camera(stated: _Stated) -> CameraRecord:
    distance, distance_u = stated.certified("distance")
    return CameraRecord(
        distance_mm=distance,
        distance_u_mm=distance_u,
        scale_px_per_mm=stated.number("scale"),
        scale_u_px_per_mm=stated.uncertainty("scale_u", plain=True),
        note=stated.text("note"),
        as_typed=stated.as_typed,
    )


def _lamp(stated: _Stated) -> LampRecord:
    lines = (stated.text("lines") or "").replace(";", " ").replace(",", " ").split()
    source = stated.text("source")
    if not lines or source is None:
        raise BadInput("a lamp needs its wavelengths, and where they come from")
    return LampRecord(
        lines=tuple(lines),
        source=source,
        wavelength_u_nm=stated.uncertainty("wavelength_u", plain=True),
        note=stated.text("note"),
        as_typed=stated.as_typed,
    )


_MADE: dict[str, Callable[[_Stated], Record]] = {
    "plate": _plate,
    "spherometer": _spherometer,
    "camera": _camera,
    "lamp": _lamp,
}

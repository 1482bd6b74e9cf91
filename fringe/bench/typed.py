"""What a device sends, as the requests of the library: every value checked and bounded."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from flask import abort, request

from fringe.archive.surface_record import StatedRecord
from fringe.archive.views.visit_request import VisitRequest
from fringe.bench.settings import Settings
from fringe.bench.taken import Taken
from fringe.errors import BadInput
from fringe.judge.state.visits import ON_TOP
from fringe.photo.ellipse import Edge
from fringe.units import length_mm, positive_length_mm

MOST_WORDS = 20_000
# least and most that can be meant, and the unit; what is hardly meant is asked by the record
BOUNDS = {
    "minutes": (0.0, 100_000.0, "min"),
    "other_minutes": (0.0, 100_000.0, "min"),
    "rested": (0.0, 86_400.0, "min"),
    "temperature": (-20.0, 60.0, "°C"),
    "across": (-10_000.0, 10_000.0, "mm"),
    "down": (-10_000.0, 10_000.0, "mm"),
    "tolerance_power": (0.0, 1000.0, "fringes"),
    "tolerance_irregularity": (0.0, 1000.0, "fringes"),
}


def sent_values() -> dict[str, object]:
    """The JSON object that a device sent."""
    if (request.content_length or 0) > MOST_WORDS:
        abort(413)
    try:
        values = json.loads(request.get_data(cache=False)) if request.is_json else None
    except (ValueError, RecursionError):  # no JSON, or nested deeper than anything of ours
        values = None
    if not isinstance(values, dict):
        raise BadInput("the page sent something else than it should; load it again")
    return values


def settings_of(values: Mapping[str, Any]) -> Settings:
    """How the photographs were taken."""
    return Settings(
        surface=text_of(values, "surface", 1000),
        lamp=text_of(values, "lamp", 200),
        sense=text_of(values, "sense", 20) or "auto",
        camera_distance_mm=length_of(values, "camera_distance"),
        camera=text_of(values, "camera", 200),
        against=text_of(values, "against", 1000),
        aperture_mm=length_of(values, "aperture"),
    )


def surface_record(values: Mapping[str, Any]) -> StatedRecord:
    """What is said of a surface that is made."""
    return StatedRecord(
        radius_mm=length_of(values, "radius"),
        diameter_mm=length_of(values, "diameter"),
        chamfer_mm=length_of(values, "chamfer", zero=True),
        plate=text_of(values, "plate", 200),
        plate_radius_mm=length_of(values, "plate_radius"),
        tolerance_power_fringes=number_of(values, "tolerance_power"),
        tolerance_irregularity_fringes=number_of(values, "tolerance_irregularity"),
        lamp=text_of(values, "lamp", 200),
        glass=text_of(values, "glass", 200),
    )


def tolerances(values: Mapping[str, Any]) -> StatedRecord:
    """What is allowed of a surface; what is left empty stays as it is."""
    return StatedRecord(
        tolerance_power_fringes=number_of(values, "tolerance_power"),
        tolerance_irregularity_fringes=number_of(values, "tolerance_irregularity"),
    )


def change_of_taken(values: Mapping[str, Any]) -> Callable[[Taken], Taken]:
    """What is to be changed of the readings without a photograph.

    One of `by_eye` (empty takes it back), `spherometer`, or `piece` with a `reading` that is added;
    without one the last reading on that piece is taken back.
    """
    if "piece" in values:
        piece, reading = text_of(values, "piece", 20) or "", text_of(values, "reading", 40)
        if reading is None:
            return lambda taken: taken.without_last(piece)
        return lambda taken: taken.with_reading(piece, reading)
    if "by_eye" in values:
        by_eye = text_of(values, "by_eye", 200)
        return lambda taken: replace(taken, by_eye=by_eye)
    spherometer = text_of(values, "spherometer", 200)
    return lambda taken: replace(taken, spherometer=spherometer)


def visit_request(values: Mapping[str, Any], **more: Any) -> VisitRequest:
    """What is said of a visit; a second number of minutes is with the other piece on top."""
    minutes = [number_of(values, "minutes"), number_of(values, "other_minutes")]
    on_top = text_of(values, "on_top", 20)
    pieces = [on_top]
    if minutes[1] is not None:
        pieces += [piece for piece in ON_TOP if piece != on_top]
    if minutes[1] is not None and (minutes[0] is None or on_top not in ON_TOP):
        raise BadInput(
            "a spell with both pieces on top: say the minutes and which was on top first"
        )
    return VisitRequest(
        stage=text_of(values, "stage", 200),
        stage_is=text_of(values, "stage_is", 20),
        minutes=tuple(m for m in minutes if m is not None),
        on_top=tuple(piece for piece in pieces if piece is not None),
        rested_minutes=number_of(values, "rested"),
        removed_mm=length_of(values, "removed"),
        pits=text_of(values, "pits", 20),
        temperature_c=number_of(values, "temperature"),
        remark=text_of(values, "remark", 5000),
        by=text_of(values, "by", 200),
        yes=values.get("yes") is True,
        **more,
    )


def text_of(values: Mapping[str, Any], name: str, longest: int) -> str | None:
    """A text; None where it is empty."""
    value = values.get(name)
    if value is None:
        return None
    if not isinstance(value, str) or len(value) > longest:
        raise BadInput(f"{called(name)}: must be text, and not too long")
    return value.strip() or None


def number_of(values: Mapping[str, Any], name: str) -> float | None:
    """A number within its bounds; None where nothing is typed."""
    text = text_of(values, name, 40)
    if text is None:
        return None
    try:
        number = float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise BadInput(f"{called(name)}: {text!r} is not a number")
    low, high, unit = BOUNDS[name]
    if not low <= number <= high:
        raise BadInput(f"{called(name)}: {number:g} {unit} cannot be; {low:g} to {high:g} {unit}")
    return number


def length_of(values: Mapping[str, Any], name: str, *, zero: bool = False) -> float | None:
    """A length with its unit [mm]; None where nothing is typed."""
    text = text_of(values, name, 40)
    if text is None:
        return None
    return length_mm(text, called(name)) if zero else positive_length_mm(text, called(name))


def edge_of(values: Mapping[str, Any]) -> Edge | str:
    """An edge that was dragged, or how it is to be found."""
    kind = values.get("edge")
    if kind in ("auto", "none"):
        return str(kind)
    numbers = [values.get(name) for name in ("cx", "cy", "a", "b", "angle_deg")]
    if not all(isinstance(n, int | float) and math.isfinite(n) for n in numbers):
        raise BadInput("edge: its place and size must be numbers")
    cx, cy, a, b, angle = (float(n) for n in numbers if n is not None)
    if min(a, b) <= 0:
        raise BadInput("edge: its size must be greater than zero")
    # dragged by hand on a reduced picture: good to a pixel or so, which the page tells
    u_px = values.get("u_px", 1.0)
    if not isinstance(u_px, int | float) or not 0 <= u_px < 1000:
        raise BadInput("edge: how well it is known must be a number of pixels")
    if a < b:
        a, b, angle = b, a, angle + 90.0
    return Edge(cx, cy, a, b, (angle + 90.0) % 180.0 - 90.0, float(u_px))


def place_of(values: Mapping[str, Any]) -> tuple[float, float] | None:
    """Where a smaller plate lay, across and down from the middle of the work [mm]."""
    across, down = number_of(values, "across"), number_of(values, "down")
    if across is None and down is None:
        return None
    return across or 0.0, down or 0.0


def called(name: str) -> str:
    """What a value is called in a message."""
    return name.replace("_", " ")

"""What a person types, as the functions take it: lengths, lamps, edges, photographs, words."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Protocol, TypedDict

from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.store.surface import Surface
    from fringe.optics.lamps import Lamp
    from fringe.orders.options import StatedOptions
    from fringe.photo.ellipse import Edge
    from fringe.photo.load import Photo


class Measure(Protocol):
    """A quantity with a unit, as those of pint."""

    def to(self, unit: str, /) -> Any:
        """Return the same in another unit, with its number as `magnitude`."""


Length = str | Measure
Form = Literal["convex", "concave"]
Sense = Literal["auto", "centre", "edge"]
FORMS: Sequence[str] = ("convex", "concave")
SENSES: Sequence[str] = ("auto", "centre", "edge")
Rule = Literal["simple", "guard95", "shrinkU"]
RULES: Sequence[str] = ("simple", "guard95", "shrinkU")


class LengthsMm(TypedDict, total=False):
    """Lengths of a reading as numbers [mm]; `u_` are standard uncertainties."""

    diameter_mm: float
    plate_radius_mm: float
    camera_distance_mm: float
    chamfer_mm: float
    u_diameter_mm: float
    u_plate_radius_mm: float


def to_photo(given: Photo | str | os.PathLike[str] | bytes) -> Photo:
    """Take a photograph as a file, its content, or loaded."""
    from fringe.photo.load import Photo, load_photo, photo_from_bytes

    if isinstance(given, Photo):
        return given
    if isinstance(given, bytes):
        return photo_from_bytes(given, "photograph")
    return load_photo(Path(given))


def to_frames(given: Sequence[Photo | str | os.PathLike[str] | bytes]) -> list[Photo]:
    """Take frames of one contact, or the file of a film clip."""
    from fringe.photo.frames import load_frames
    from fringe.photo.load import Photo

    paths = [Path(one) for one in given if not isinstance(one, Photo | bytes)]
    if len(paths) == len(given):
        return load_frames(paths)
    return [to_photo(one) for one in given]


def to_lamp(given: str | Lamp | None) -> Lamp:
    """Take a lamp or its name."""
    from fringe.optics.lamps import lamp

    if given is None:
        raise BadInput("lamp: give its name, as lamp='sodium'; `fringe lamps` lists them")
    return lamp(given) if isinstance(given, str) else given


def to_edge(given: str | Edge | Sequence[float]) -> str | Edge:
    """Take an edge as text, as numbers, or as it is."""
    from fringe.photo.edge_text import edge_from_text
    from fringe.photo.ellipse import Edge

    if isinstance(given, Edge):
        return given
    text = given if isinstance(given, str) else ",".join(str(float(one)) for one in given)
    return edge_from_text(text, "edge")


def to_surface(given: Surface | str | os.PathLike[str]) -> Surface:
    """Take a surface or where it is, as ``ARCHIVE/NAME`` or the path of its folder."""
    from fringe.archive.store.surface import find_surface

    return find_surface(os.fspath(given)) if isinstance(given, str | os.PathLike) else given


def to_word(what: str, given: str, words: Sequence[str]) -> str:
    """Take one of the words."""
    if given not in words:
        raise BadInput(f"{what}: {given!r} is none of {', '.join(words)}")
    return given


def to_mm(
    what: str, typed: Length | None, number: float | None, *, zero: bool = False
) -> float | None:
    """Take a length in either of its two ways [mm]; more than nothing, unless `zero` may be."""
    from fringe.units import length_mm, positive_length_mm

    read = length_mm if zero else positive_length_mm
    if typed is None:
        return None if number is None else read(f"{float(number)}mm", f"{what}_mm")
    if number is not None:
        raise BadInput(f"{what}: is given twice, as {what}_mm too; leave one of them out")
    if isinstance(typed, str):
        return read(typed, what)
    if not hasattr(typed, "to"):
        raise BadInput(f"{what}: {typed!r} has no unit; write {what}='{typed}mm'")
    try:
        millimetres = float(typed.to("mm").magnitude)
    except Exception as error:  # each library of units has its own errors
        raise BadInput(f"{what}: {typed} is no length") from error
    return read(f"{millimetres!r}mm", what)


def to_sizes(diameter: Length | None, chamfer: Length | None, in_mm: LengthsMm) -> StatedOptions:
    """Take a diameter, over all where a chamfer is told, and that chamfer."""
    from fringe.orders.options import StatedOptions

    return StatedOptions(
        diameter_mm=to_mm("diameter", diameter, in_mm.get("diameter_mm")),
        chamfer_mm=to_mm("chamfer", chamfer, in_mm.get("chamfer_mm"), zero=True),
    )


def to_u_mm(what: str, number: float | None) -> float:
    """Take a standard uncertainty [mm]; 0 where none is known."""
    return 0.0 if number is None else to_u(what, number)


def to_u(what: str, number: float) -> float:
    """Take a standard uncertainty, in the unit of its name."""
    if not 0 <= number < float("inf"):
        raise BadInput(f"{what}: {number!r} is no uncertainty; it is 0 or more")
    return float(number)

"""The live view of a device's camera: what is to be said of a frame before the shutter."""

from __future__ import annotations

import io
import threading
from collections import OrderedDict
from dataclasses import dataclass

from fringe.archive.instruments import find_lamp
from fringe.bench.desk import Desk
from fringe.bench.words import bench_words
from fringe.errors import BadInput
from fringe.format import capital
from fringe.optics.lamps import Lamp
from fringe.orders.lamp_colour import lamp_warnings
from fringe.orders.look import Look, Movement, look, movement
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_bytes

MOST_BYTES, MOST_PIXELS = 2_000_000, 2_100_000  # of a frame that is looked at
MOST_VIEWERS = 16
# Shares from which a person is told: of the work clipped, of the outline out of view, of the radius
# over which the edge is blurred (rendered frames in focus have 0.003 to 0.008, blurred ones 0.013
# and more), of the radius by which the camera moved, and of the pattern that changed
_CLIPPED, _CLIPPED_FRAME, _BEYOND, _BLURRED = 0.03, 0.1, 0.02, 0.0105
_SHAKEN, _MOVING = 0.02, 0.15
_FINE_PX = 4.5  # of the photograph, for a fringe


@dataclass(frozen=True)
class Hint:
    """A thing to do before the shutter, and the name by which the page knows it."""

    key: str
    text: str


_TEXTS = {
    "clipped": "Too bright, the fringes are clipped: turn the lamp or the exposure down.",
    "edge": "The edge is out of view: go back, or move over.",
    "blurred": "Blurred: let it focus, and rest the camera on something.",
    "shaken": "Hold the camera still.",
    "even": "No fringes on the work, or finer ones than this view shows.",
    "none": "No fringes to be seen: hold the camera over the work, in the lamp's light.",
    "outline": "The edge is not clear: a darker ground about the work, all of it in view.",
    "fine": "Too many rings for the pixels: come nearer, until the work fills the view.",
}
READY = Hint("ready", "Fringes and edge are in view.")
MOVING = Hint("moving", "The fringes move: let them rest, or take a burst.")


def hints(seen: Look, moved: Movement | None, photo_scale: float = 1.0) -> list[Hint]:
    """What to tell of a look, the first thing to do first; one that is ready where all is well.

    Parameters
    ----------
    seen : Look
    moved : Movement or None
        Since the look before.
    photo_scale : float
        Pixels of the photograph that the shutter takes, a pixel of this frame.
    """
    keys = []
    if seen.clipped > (_CLIPPED_FRAME if seen.edge is None else _CLIPPED):
        keys.append("clipped")
    if moved is not None and moved.camera > _SHAKEN:
        keys.append("shaken")
    if seen.beyond > _BEYOND:
        keys.append("edge")
    elif seen.softness is not None and seen.softness > _BLURRED:
        keys.append("blurred")
    # what is clipped, blurred or cut off may hide fringes and edge: it is to be mended first
    if not keys and not seen.fringes:
        keys.append("none" if seen.edge is None else "even")
    elif not keys and seen.edge is None:
        keys.append("outline")
    if seen.finest_px is not None and seen.finest_px * photo_scale < _FINE_PX:
        keys.append("fine")
    found = [Hint(key, _TEXTS[key]) for key in keys]
    if fringes_move(seen, moved):
        found.append(MOVING)
    return found or [READY]


def fringes_move(seen: Look, moved: Movement | None) -> bool:
    """Whether the fringes moved while the camera was still."""
    return (
        seen.fringes and moved is not None and moved.camera <= _SHAKEN and moved.fringes > _MOVING
    )


class LiveViews:
    """What each device's camera saw last. Safe to call from any thread."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._looking = threading.Lock()  # one at a time: a look takes a core
        self._last: OrderedDict[str, Look] = OrderedDict()

    def seen(self, data: bytes, viewer: str, photo_px: int = 0) -> dict[str, object]:
        """Look at a frame, and say what is to be done, as plain values.

        Parameters
        ----------
        data : bytes
            JPEG of some 1280 x 720 pixels.
        viewer : str
            The live view that it comes from.
        photo_px : int
            Longer side of the photograph that the shutter takes [px]; 0 for the frame's own.

        Raises
        ------
        BadInput
            If it is no frame, or a larger one than is looked at.
        """
        _check(data)
        lamp = self._lamp()
        with self._looking:
            photo = photo_from_bytes(data, "the live view")
            now = look(photo)
            before = self._last.pop(viewer, None)
            self._last[viewer] = now
            while len(self._last) > MOST_VIEWERS:
                self._last.popitem(last=False)
        moved = None if before is None else movement(before, now)
        scale = max(1.0, photo_px / max(photo.width, photo.height))
        told = hints(now, moved, scale)
        if lamp is not None and now.fringes:
            asked = lamp_warnings(photo, lamp, now.edge)
            told += [Hint("lamp", f"{capital(bench_words(one))}") for one in asked]
        told = [one for one in told if one is not READY] or [READY]
        return {
            "hints": [{"key": one.key, "text": one.text} for one in told],
            "ready": told == [READY],
            "moving": fringes_move(now, moved),
            "edge": _outline(now.edge),
            "size": [photo.width, photo.height],
        }

    def _lamp(self) -> Lamp | None:
        settings = self._desk.settings
        name = settings.lamp
        if name is None and settings.surface is not None:
            name = self._desk.chosen().lamp
        return None if name is None else find_lamp(name, self._desk.archive)


def _check(data: bytes) -> None:
    """Refuse what is no frame before it is decoded."""
    from PIL import Image

    if len(data) > MOST_BYTES:
        raise BadInput("the live view sent too large a frame; close it and open it again")
    try:
        with Image.open(io.BytesIO(data), formats=["JPEG"]) as frame:
            pixels = frame.width * frame.height
    except (OSError, ValueError) as error:
        raise BadInput("the live view sent no frame; close it and open it again") from error
    if pixels > MOST_PIXELS:
        raise BadInput("the live view sent too large a frame; close it and open it again")


def _outline(edge: Edge | None) -> dict[str, float] | None:
    if edge is None:
        return None
    return {"cx": edge.cx, "cy": edge.cy, "a": edge.a, "b": edge.b, "angle_deg": edge.angle_deg}

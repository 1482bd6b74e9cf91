"""The edge of the work as text, on a command line and in a record."""

from __future__ import annotations

import math

from fringe.errors import BadInput
from fringe.photo.ellipse import Edge


def edge_from_text(text: str, what: str = "edge") -> str | Edge:
    """Read an edge as `auto`, `none`, `CX,CY,R` or `CX,CY,A,B,ANGLE`.

    Parameters
    ----------
    text : str
        A word, or pixels and degrees.
    what : str
        What it is called in a message.

    Returns
    -------
    str or Edge
        `auto` and `none` as they are. An edge is taken to be known as well as it was written.

    Raises
    ------
    BadInput
        If it is none of these, or describes no ellipse.
    """
    if text in ("auto", "none"):
        return text
    try:
        numbers = [float(word) for word in text.split(",")]
    except ValueError:
        numbers = []
    if len(numbers) == 3:
        numbers = [*numbers, numbers[2], 0.0]
    if len(numbers) != 5 or min(numbers[2:4]) <= 0 or not all(map(math.isfinite, numbers)):
        raise BadInput(
            f"{what}: {text!r} is not an edge; write auto, none, CX,CY,R or CX,CY,A,B,ANGLE"
        )
    cx, cy, a, b, angle = numbers
    # half a unit of the last decimal either way
    decimals = max(len(word.strip().partition(".")[2]) for word in text.split(",")[2:4])
    u_px = 10.0**-decimals / math.sqrt(12)
    if a >= b:
        return Edge(cx, cy, a, b, angle, u_px)
    return Edge(cx, cy, b, a, angle + 90.0, u_px)


def text_of_edge(edge: Edge) -> str:
    """Write an edge as `CX,CY,R` or `CX,CY,A,B,ANGLE`, its sizes to the digit they are known to."""
    exact = -math.log10(edge.u_px * math.sqrt(12)) if edge.u_px > 0 else math.nan
    decimals = max(round(exact), 0) if math.isfinite(exact) else 0

    def size(value: float) -> str:
        known = f"{value:.{decimals}f}"
        return known if float(known) == value else f"{value:.12g}"

    words = [f"{edge.cx:.12g}", f"{edge.cy:.12g}", size(edge.a)]
    if edge.b != edge.a or edge.angle_deg:
        words += [size(edge.b), f"{edge.angle_deg:.12g}"]
    return ",".join(words)

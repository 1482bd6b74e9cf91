"""Text in large letters for a terminal that is read from across the room."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

_BLOCKS = np.array([" ", "▄", "▀", "█"])
_THIN_SPACE = "\u2009"
TALLEST_ROWS = 9


def large_text(text: str, columns: int, *, rows: int = TALLEST_ROWS) -> list[str]:
    """Draw text with half blocks, as large as it fits.

    Parameters
    ----------
    text : str
        One line.
    columns : int
        Width of the terminal [character].
    rows : int
        Height that it may take [line].

    Returns
    -------
    list of str
        Lines of at most `columns` characters; the text itself where there is no room for
        letters of four lines.
    """
    narrow = text.replace(" ", _THIN_SPACE)
    for height in range(rows, 3, -1):
        bitmap = _bitmap(narrow, 2 * height)
        if bitmap.shape[1] <= columns:
            codes = 2 * bitmap[0::2].astype(int) + bitmap[1::2]
            return ["".join(line).rstrip() for line in _BLOCKS[codes]]
    return [text]


def large_lines(text: str, columns: int, *, rows: int = TALLEST_ROWS) -> list[str]:
    """Draw text as :func:`large_text` does, its uncertainty below it where both are too wide.

    Parameters
    ----------
    text : str
        One line, as ``+0.328 ± 0.003``.
    columns, rows : int
        As there; the uncertainty takes two thirds of the rows more.

    Returns
    -------
    list of str
    """
    value, sign, rest = text.partition(" ± ")
    beside = large_text(text, columns, rows=rows)
    if not sign or len(beside) == rows:
        return beside
    above = large_text(value, columns, rows=rows)
    if len(above) <= len(beside) or len(above) == 1:
        return beside
    return [*above, "", *large_text(f"± {rest}", columns, rows=max(5, 2 * len(above) // 3))]


def _bitmap(text: str, height: int) -> Any:
    """Letters as an array of bool that is `height` pixels tall, an even number."""
    from PIL import Image, ImageDraw

    font = _font(height)
    left, _, right, _ = font.getbbox(text)
    _, top, _, bottom = font.getbbox("0±+")
    canvas = Image.new("L", (max(1, round(right - left)), height), 0)
    offset = (height - (bottom - top)) / 2 - top
    ImageDraw.Draw(canvas).text((-left, offset), text, fill=255, font=font)
    return np.asarray(canvas) > 110


@lru_cache(maxsize=16)
def _font(height: int) -> Any:
    """The figures' own type in a size whose digits are as tall as that."""
    import matplotlib
    from PIL import ImageFont

    path = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans-Bold.ttf"
    return ImageFont.truetype(str(path), round(height * 1.3))

"""A strip that says which stage of work each visit belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from fringe.show.figures.style import (
    BAND,
    HAIRLINE,
    INK,
    PAPER,
    SMALL_PT,
    Sheet,
    printable,
    text_width_in,
)

_HEIGHT_IN = 0.21
_ROOM_IN = 0.08


def stage_strip(
    sheet: Sheet,
    left: float,
    top: float,
    width: float,
    stages: Sequence[str | None],
    x: Sequence[float],
    limits: tuple[float, float],
    *,
    ends: bool = False,
) -> tuple[float, str]:
    """Draw runs of visits in one stage as cells, named where the name fits.

    Parameters
    ----------
    sheet : Sheet
    left, top, width : float
        Place of the strip [inch].
    stages : sequence of str or None
        Stage of each visit.
    x : sequence of float
        Place of each visit on the lying scale.
    limits : (float, float)
        Ends of the lying scale.
    ends : bool
        A visit stands at the end of its stage, as on a scale of hours, not in its middle.

    Returns
    -------
    bottom : float
        Where the strip ends [inch]; `top` when no visit has a stage.
    key : str
        What the letters in narrow cells stand for; may be empty.
    """
    runs = _runs(stages)
    if all(stage is None for stage, _, _ in runs):
        return top, ""
    axes = sheet.axes(left, top, width, _HEIGHT_IN)
    axes.set_xlim(*limits)
    axes.set_ylim(0, 1)
    axes.set_xticks([])
    axes.set_yticks([])
    for side in axes.spines.values():
        side.set_visible(False)
    inches = width / (limits[1] - limits[0])
    letters: dict[str, str] = {}
    for count, (stage, first, last) in enumerate(runs):
        start, end = _cell(first, last, x, limits, ends=ends)
        if stage is None and ends:
            continue
        shade = BAND if count % 2 == 0 else PAPER
        axes.axvspan(start, end, facecolor=shade, edgecolor=HAIRLINE, linewidth=0.6)
        text = _fitting(stage, (end - start) * inches, letters)
        axes.text(
            (start + end) / 2,
            0.46,
            text,
            fontsize=SMALL_PT,
            color=INK,
            ha="center",
            va="center",
            parse_math=False,
        )
    key = "; ".join(f"{letter}: {stage}" for stage, letter in letters.items())
    return top + _HEIGHT_IN, f"Stages: {key}." if key else ""


def _cell(
    first: int, last: int, x: Sequence[float], limits: tuple[float, float], *, ends: bool
) -> tuple[float, float]:
    """Where the cell of a run of visits begins and ends on the lying scale."""
    if ends:
        return (limits[0] if first == 0 else x[first - 1]), x[last]
    start = limits[0] if first == 0 else (x[first - 1] + x[first]) / 2
    return start, limits[1] if last == len(x) - 1 else (x[last] + x[last + 1]) / 2


def _runs(stages: Sequence[str | None]) -> list[tuple[str | None, int, int]]:
    runs = []
    for stage, group in groupby(range(len(stages)), key=lambda k: stages[k] or None):
        members = list(group)
        runs.append((stage, members[0], members[-1]))
    return runs


def _fitting(stage: str | None, room_in: float, letters: dict[str, str]) -> str:
    """Return a stage's name, or its letter where the name has no room."""
    if stage is None:
        return ""
    name = printable(stage)
    if stage not in letters and text_width_in(name, SMALL_PT) + _ROOM_IN <= room_in:
        return name
    letter = letters.setdefault(stage, _letter(len(letters)))
    return letter if text_width_in(letter, SMALL_PT) + 0.02 <= room_in else ""


def _letter(index: int) -> str:
    return "abcdefghijklmnopqrstuvwxyz"[index % 26] + (str(index // 26 + 1) if index >= 26 else "")

"""An archive's surfaces with their state, for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from fringe.archive.views.surface_list import ListedSurface, SurfaceList
from fringe.format import figures, plus_minus
from fringe.show.text.lines import remark

_STEP_WIDE = 24  # of the next step, where room is scarce
_COLUMNS = ("surface", "form", "state", "last visit", "visits", "hours", "stage", "power")
_NUMBERS = ("visits", "hours", "power")
# the first goes first; name and state stay
_SPARED = ("form", "hours", "visits", "stage", "last visit", "power")
_STYLES = {"inside": "green", "unproven": "yellow", "outside": "red"}


def surfaces_view(found: SurfaceList, width: int, *, steps: bool) -> Iterator[RenderableType]:
    """A table of the surfaces on a screen of so many columns; a line where there is none."""
    if found.shown:
        yield _table(found.shown, width, steps=steps)
        if found.behind:
            yield Text(_behind(found.behind))
        yield from (Text(remark(line)) for line in _of_plates(found.shown))
    elif found.count:
        yield Text(f"{found.archive}: every surface is proven inside")
    else:
        yield Text(f"{found.archive}: no surface yet; `fringe surface add` makes one")


def _behind(count: int) -> str:
    """What the steps say that wait for their turn."""
    steps = "1 next step does" if count == 1 else f"{count} next steps do"
    return (
        f"{steps} not yet count the last visits to other surfaces; the next lists will, and "
        "`fringe progress` does"
    )


def _of_plates(shown: Sequence[ListedSurface]) -> list[str]:
    """What is to be said of plates, each once, with the surfaces that it is said of."""
    named: dict[str, list[str]] = {}
    for one in shown:
        for text in one.of_plate:
            named.setdefault(text, []).append(one.name)
    return [f"{', '.join(names)}: {text}" for text, names in named.items()]


def _table(shown: Sequence[ListedSurface], width: int, *, steps: bool) -> Table:
    """The surfaces, with as many columns as the terminal has room for."""
    columns = {
        name: [name, *cells]
        for name, cells in zip(_COLUMNS, zip(*map(_cells, shown), strict=True), strict=True)
    }
    # the next step's words wrap
    if steps:
        longest = max(len("next step"), *(len(one.step or "") for one in shown))
        width -= min(_STEP_WIDE, longest) + 2
    for name in _SPARED:
        if sum(max(map(len, cells)) + 2 for cells in columns.values()) - 2 <= width:
            break
        del columns[name]
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 1, 0, 0))
    for name in columns:
        table.add_column(
            name,
            justify="right" if name in _NUMBERS else "left",
            overflow="fold",
            no_wrap=name != "surface",
        )
    if steps:
        table.add_column("next step")
    for i, one in enumerate(shown, 1):
        cells = [Text(cells[i], style=_STYLES.get(cells[i], "")) for cells in columns.values()]
        table.add_row(*cells, *([Text(one.step or "")] if steps else []))
    return table


def _cells(one: ListedSurface) -> list[str]:
    decided, power = one.decided, ""
    if decided.power_fringes is not None:
        signed = decided.sense != "unknown"
        power = plus_minus(decided.power_fringes, decided.power_u95_fringes, signed=signed)
        power = power if signed else f"? {power}"
    return [
        f"{one.name} !" if one.of_plate else one.name,
        one.form or "",
        one.state,
        f"{one.last_visit:%Y-%m-%d %H:%M}" if one.last_visit else "",
        str(one.visits or ""),
        figures(one.hours, 2) if one.hours else "",
        one.stage or "",
        power,
    ]

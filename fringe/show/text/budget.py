"""Where uncertainties come from, in rows of text: a table with bars a result."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fringe.format import figures, share_text
from fringe.judge.tolerance.verdict_words import with_probability
from fringe.judge.uncertainty.budget import Budget
from fringe.show.text.lines import line, line_width, remark, wrapped_line

if TYPE_CHECKING:
    from fringe.archive.views.session_budget import SessionBudgets

BAR = 5
LEAST_SHARE = 0.005
Cells = tuple[str, str, str, str, str, str, str, str]
# alignment of name, u, sensitivity, ±, u of the result, share, bar and degrees of freedom
_COLUMNS = "<>>>>><<"
_SPARED = (6, 2, 4)  # columns that are left out where the terminal is narrow, in this order
_BETWEEN = 2  # spaces before a column


def budget_rows(budgets: SessionBudgets, picture: Path | None = None) -> list[str]:
    """A table a result, then the verdict and what would settle it."""
    rows: list[str] = []
    for one in budgets.results:
        rows += [*budget_table(one), ""]
    verdict, settling = budgets.verdict, budgets.settling
    if verdict is not None:
        rows.append(line("verdict", with_probability(verdict.state, verdict.probability)))
    if settling is not None:
        rows.append(wrapped_line("to settle it", settling.text))
    if picture is not None:
        rows.append(line("picture", str(picture)))
    rows += [remark(one.warning) for one in budgets.results if one.warning]
    if rows[-1] == "":
        rows.pop()
    return rows + [remark(note) for note in budgets.notes]


def budget_table(one: Budget) -> list[str]:
    """A result, and a row for each input that matters: its ±, and the standard u beside it."""
    cells = [("input", "standard u", "sensitivity", "± 95 %", "as u", "share", "", "dof")]
    small = []
    for row in one.rows:
        if row.contribution == 0:
            continue
        if abs(row.share) < LEAST_SHARE:
            small.append(row.input.name)
            continue
        factor, unit = _readable(row.input.u, row.input.unit)
        cells.append(
            (
                row.input.name,
                f"{figures(row.input.u * factor, 2)} {unit}",
                figures(row.sensitivity / factor, 3),
                figures(one.half_width(row), 2),
                figures(abs(row.contribution), 2),
                share_text(row.share),
                "█" * max(0, round(row.share * BAR)) or "▏",
                _dof(row.input.dof),
            )
        )
    u95, u = figures(one.u95, 2), figures(one.u, 2)
    cells.append(("together", "", "", u95, u, "", "", _dof(one.dof)))
    title = f"{one.name} {one.text} (95 %)"
    rows = [title, *_columns(cells, line_width())]
    if small:
        rows.append(wrapped_line("under 0.5 %", ", ".join(small)))
    check = one.monte_carlo
    if check is not None and check.agrees:
        rows.append(line("Monte Carlo", f"{check.trials} draws agree with first order"))
        if one.few_readings:
            rows.append(wrapped_line("", one.few_readings))
    return rows


def _columns(cells: Sequence[Cells], width: int) -> list[str]:
    """Rows of the table as wide as the terminal: bar, sensitivity and `as u` go where they must.

    The share tells what the bar shows, the ± what `as u` does; columns are as wide as they need.
    """
    kept = list(range(len(_COLUMNS)))
    for spared in (None, *_SPARED):
        kept = [place for place in kept if place != spared]
        needs = {place: max(len(row[place]) for row in cells) for place in kept}
        if sum(needs.values()) + _BETWEEN * len(kept) <= width:
            break
    return [
        "".join(
            " " * _BETWEEN + format(row[place], f"{_COLUMNS[place]}{needs[place]}")
            for place in kept
        ).rstrip()
        for row in cells
    ]


def _readable(u: float, unit: str) -> tuple[float, str]:
    """Factor and unit in which an uncertainty has no row of zeros; its sensitivity goes along."""
    if unit != "mm" or u >= 0.01:
        return 1.0, unit
    return (1e3, "µm") if u >= 1e-5 else (1e6, "nm")


def _dof(dof: float | None) -> str:
    if dof is None or not math.isfinite(dof):
        return "∞"
    return f"{dof:.0f}" if dof < 1000 else "> 999"

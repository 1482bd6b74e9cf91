"""Where uncertainties come from, in rows of text: a table with bars a result."""

from __future__ import annotations

import math
from pathlib import Path

from fringe.archive.views.session_budget import SessionBudgets
from fringe.format import figures
from fringe.judge.tolerance.verdict_words import with_probability
from fringe.judge.uncertainty.budget import Budget
from fringe.show.text.lines import line, remark, wrapped_line

BAR = 10
LEAST_SHARE = 0.005


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
    """A result, and a row for each input that matters."""
    rows = [
        f"{one.name} {one.text(signed=not one.name.endswith('radius'))}",
        f"  {'input':<20}{'u':>15}{'sensitivity':>13}{'gives':>9}{'share':>8}  {'':<{BAR + 1}}dof",
    ]
    small = []
    for row in one.rows:
        if row.contribution == 0:
            continue
        if abs(row.share) < LEAST_SHARE:
            small.append(row.input.name)
            continue
        factor, unit = _readable(row.input.u, row.input.unit)
        u = f"{figures(row.input.u * factor, 2)} {unit}"
        rows.append(
            f"  {row.input.name:<20}{u:>15}{figures(row.sensitivity / factor, 3):>13}"
            f"{figures(abs(row.contribution), 2):>9}{100 * row.share:>6.0f} %  "
            f"{'█' * max(0, round(row.share * BAR)) or '▏':<{BAR + 1}}{_dof(row.input.dof)}"
        )
    gap = " " * (11 + BAR)
    rows.append(f"  {'together':<20}{'':>28}{figures(one.u, 2):>9}{gap}{_dof(one.dof)}")
    if small:
        rows.append(line("under 0.5 %", ", ".join(small)))
    check = one.monte_carlo
    if check is not None and check.agrees:
        rows.append(line("Monte Carlo", f"{check.trials} draws agree with first order"))
    return rows


def _readable(u: float, unit: str) -> tuple[float, str]:
    """Factor and unit in which an uncertainty has no row of zeros; its sensitivity goes along."""
    if unit != "mm" or u >= 0.01:
        return 1.0, unit
    return (1e3, "µm") if u >= 1e-5 else (1e6, "nm")


def _dof(dof: float | None) -> str:
    if dof is None or not math.isfinite(dof):
        return "∞"
    return f"{dof:.0f}" if dof < 1000 else "> 999"

"""What a spherometer says of plate and work, in rows of text."""

from __future__ import annotations

import math

from fringe.archive.views.spherometer_comparison import SagAnswer
from fringe.format import figures, plus_minus
from fringe.judge.spherometer.compare import SagResult, text_of, trap_text
from fringe.judge.spherometer.reach import Reach
from fringe.judge.uncertainty.budget import Budget
from fringe.show.text.budget import budget_table
from fringe.show.text.lines import line, remark


def sag_rows(answer: SagAnswer, *, budgets: bool = False) -> list[str]:
    """The answer first; then radii, rings and remarks, and where the uncertainties come from."""
    result = answer.result
    rows = [
        text_of(result),
        line(
            "readings",
            f"plate {figures(result.plate_sagitta_um, 6)} µm, "
            f"work {figures(result.work_sagitta_um, 6)} µm",
        ),
        line("work should read", f"{figures(result.target_um, 6)} µm at the plate's radius"),
    ]
    if result.work_radius_mm is not None and result.radius_difference_mm is not None:
        step = result.radius_difference_mm
        plate_mm = result.work_radius_mm.value - step.value
        share = f" ({figures(100 * step.value / plate_mm, 3, signed=True)} %)"
        way = {"plate": "by the plate's radius", "ring": "by the ring's size"}[result.method]
        rows += [
            line("work radius", f"{result.work_radius_mm.text}, {way}"),
            line(
                "radius difference",
                step.text + ("" if abs(step.value) < step.u95 else share),
            ),
        ]
    if result.power_fringes is not None and answer.wavelength_nm is not None:
        rows.append(
            line(
                f"over {answer.diameter_mm:.4g} mm",
                f"{result.power_fringes.text} "
                f"at {answer.wavelength_nm:.1f} nm{_contact(result.power_fringes)}",
            )
        )
    if answer.reach is not None:
        rows += _near_text(answer.reach)
    trap = trap_text(result)
    rows += [remark(note) for note in (*([trap] if trap else []), *answer.notes)]
    return rows + (_tables(result) if budgets else [])


def _tables(result: SagResult) -> list[str]:
    shown = (result.depth_um, result.work_radius_mm, result.radius_difference_mm)
    tables = [row for one in shown if one is not None for row in ("", *budget_table(one))]
    return tables + [remark(one.warning) for one in shown if one is not None and one.warning]


def _contact(power: Budget) -> str:
    """Where the contact is, as far as the spherometer can tell."""
    if abs(power.value) < power.u95:
        return ""
    return f", contact at the {'centre' if power.value > 0 else 'edge'}"


def _near_text(near: Reach) -> list[str]:
    words = {
        "yes": "near enough",
        "no": "too far yet",
        "perhaps": "perhaps near enough",
    }
    expected = f"{plus_minus(near.rings_expected, near.rings_expected_u95)} expected"
    low_end = figures(near.rings_expected_u95, 2)
    if near.limited_by is None:
        return [
            line("rings", f"{expected}: near enough for this lamp"),
            line("", "how many the camera resolves: give --scale or --camera"),
            line("both methods", f"should agree from {low_end} fringes on"),
        ]
    readable = f"{figures(math.floor(near.rings_readable), 5)} readable ({near.limited_by})"
    rows = [line("rings", f"{expected}, {readable}: {words[near.near_enough]}")]
    if near.overlap_fringes is None:
        rows.append(line("both methods", f"meet nowhere: ±{low_end} is more than can be read"))
    else:
        high = figures(math.floor(near.overlap_fringes[1]), 5)
        rows.append(line("both methods", f"should agree from {low_end} to {high} fringes"))
    return rows

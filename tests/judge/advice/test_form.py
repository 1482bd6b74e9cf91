"""What to do about the form: only where it alone is outside, by the log first, never guessed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from fringe.judge.advice.form import form_advice, with_form_advice
from fringe.judge.advice.step import NextStep
from fringe.judge.progress import VisitRecord, progress
from fringe.judge.state.visits import VisitRow, Work
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.feature import FormFeature

LIMITS = Tolerance(power_fringes=1.0, irregularity_fringes=0.3, wavelength_nm=546.1)
START = datetime(2026, 10, 1, 9, tzinfo=UTC)
POLISH = NextStep("polish", "power is inside", "work", 20.0)


def zone(height: float, place: float = 0.6, *, signed: bool = True) -> FormFeature:
    """A zone so high [fringe], known to 0.04."""
    return FormFeature("zone", height, 0.04, 546.1, signed, place, 0.02, 0.2)


def edge(height: float) -> FormFeature:
    """An edge that turns from 0.85 of the radius on."""
    return FormFeature("edge", height, 0.04, 546.1, True, 0.85, 0.02, 0.15)


def saddle(*, signed: bool = True) -> FormFeature:
    """Astigmatism high along 30 degrees."""
    return FormFeature("astigmatism", 0.5, 0.04, 546.1, signed, axis_deg=30.0, axis_u95_deg=2.0)


def visit(
    day: int,
    *form: FormFeature,
    power: float = 0.2,
    minutes: float | None = None,
    stroke: str | None = None,
    irregularity: float | None = None,
) -> VisitRecord:
    """A visit that read power and irregularity, the sum of its features unless told."""
    total = sum(abs(one.height_fringes) for one in form) if irregularity is None else irregularity
    measured = Measured(power, 0.02, "centre", total, 0.02, wavelength_nm=546.1, features=form)
    stage = None if minutes is None else "polish"
    work = Work(stage, minutes, None if minutes is None else "work", stroke=stroke)
    when = START + timedelta(days=day)
    return VisitRecord(f"{day:04d}", when, work, (measured,))


def rows_of(*visits: VisitRecord) -> tuple[VisitRow, ...]:
    """The visits as rows, judged by the limits."""
    return progress(visits, LIMITS).rows


@pytest.mark.parametrize(
    ("feature", "says", "not_says"),
    [
        (edge(-0.5), ["edge turned down", "shorter stroke", "work on top"], ["longer stroke"]),
        (edge(0.5), ["edge turned up", "longer stroke", "tool on top"], ["shorter stroke"]),
        (zone(0.5), ["raised zone", "strongest"], ["wear the lap less"]),
        (zone(-0.5), ["hollow zone", "cut its pitch away on that zone"], ["strongest"]),
        (saddle(), ["fringe turning", "turn the work on its support"], ["press the lap"]),
    ],
)
def test_practice_follows_the_name(feature, says, not_says):
    """Each name has its own practice, said to be without a source; a saddle asks whose it is."""
    text = form_advice([feature])
    assert text.startswith(feature.text())
    assert "common practice, no source" in text
    assert all(one in text for one in says)
    assert not any(one in text for one in not_says)


def test_pressing_comes_with_its_caution():
    """Where the lap is to be pressed, hot pitch and hot water are warned of."""
    text = form_advice([zone(0.5)])
    assert "press the lap" in text
    assert "hot pitch" in text
    assert "your shop's rules" in text


def test_an_unknown_side_is_not_guessed():
    """Without the sense both cases are told, and how to learn which it is."""
    text = form_advice([zone(0.5, signed=False)])
    assert "press the edge" in text
    assert "If it is high: " in text
    assert "If it is low: " in text


def test_nothing_is_said_of_nothing():
    """No feature, no advice."""
    assert form_advice([]) == ""


def test_the_log_speaks_first():
    """The spell that lessened the zone is told before practice, with what was done and when."""
    rows = rows_of(
        visit(0, zone(0.9)),
        visit(1, zone(0.5), minutes=40, stroke="third of the radius"),
        visit(2, zone(0.7, 0.63), minutes=30, stroke="long"),
    )
    text = form_advice(rows[-1].form, rows)
    better = "in this log 40 min of polish, work on top, stroke third of the radius took it from "
    assert f"{better}0.9 to 0.5 fringes (visit 2): do that again" in text
    assert "30 min of polish, work on top, stroke long took it from 0.5 to 0.7 fringes" in text
    assert "(visit 3): not that" in text
    assert text.index("in this log") < text.index("common practice")


def test_what_is_within_its_doubt_taught_nothing():
    """A change that the intervals allow is no experience, nor is another zone's."""
    rows = rows_of(visit(0, zone(0.52)), visit(1, zone(0.5), minutes=40))
    assert "in this log" not in form_advice(rows[-1].form, rows)
    rows = rows_of(visit(0, zone(0.9, 0.3), zone(0.5, 0.7)), visit(1, zone(0.5, 0.7), minutes=40))
    assert "in this log" not in form_advice(rows[-1].form, rows)


def test_only_the_form_alone_is_advised_on():
    """Inside, or with power outside, nothing is added; nor to a step that is no work."""
    alone = rows_of(visit(0, zone(0.5)))
    assert with_form_advice(POLISH, alone, LIMITS).reason.startswith("power is inside; raised zone")
    for rows in (rows_of(visit(0, zone(0.2))), rows_of(visit(0, zone(0.5), power=3.0)), ()):
        assert with_form_advice(POLISH, rows, LIMITS) == POLISH
    wait = NextStep("wait", "warm")
    assert with_form_advice(wait, alone, LIMITS) == wait


def test_progress_gives_the_advice():
    """The next step of a surface whose form alone is outside says what to do about it."""
    step = progress([visit(0), visit(1, edge(-0.6), minutes=30)], LIMITS).next_step
    assert step.action == "polish"
    assert "edge turned down" in step.reason
    assert "in this log 30 min of polish, work on top left it, 0.6 fringes" in step.reason


def test_a_rows_form_takes_the_visits_sense():
    """Fringes without a sense are named by what the spherometer tells of the contact."""
    fringes = Measured(
        5.0, 0.05, "unknown", 0.5, 0.02, wavelength_nm=546.1, features=(zone(0.5, signed=False),)
    )
    lens = Measured(-5.1, 0.2, "edge", wavelength_nm=546.1, source="spherometer")
    record = VisitRecord("0001", START, measured=(fringes, lens))
    (row,) = progress([record], LIMITS).rows
    assert row.sense == "edge"
    assert [one.name for one in row.form] == ["hollow zone"]
    assert row.to_json()["form"][0]["name"] == "hollow zone"

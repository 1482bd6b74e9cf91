from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.format import percent_text
from fringe.judge.state.forecast import Forecast, Interval, Kind
from fringe.judge.state.visits import SourceValue
from fringe.show.figures.progress import irregularity_figure, progress_figure
from fringe.show.figures.style import COLUMN_IN


def power_axes(figure):
    (axes,) = [one for one in figure.axes if one.get_ylabel().startswith("power")]
    return axes


def marks(axes):
    return [line for line in axes.lines if line.get_marker() in ("o", "^", "s", "D")]


def test_visits_are_drawn_at_their_hours_with_their_limits(made_visits):
    """Each read visit stands at its hours of work and its power, with its 95 % bar."""
    rows = made_visits()
    axes = power_axes(progress_figure(rows, "Convex", 1.0))
    assert axes.get_xlabel() == ""  # the scale's name stands under the lower axes
    for container, row in zip(axes.containers, rows[1:], strict=True):
        point, _, (bar,) = container.lines
        wanted = [row.power_fringes]
        if row.sense == "unknown":
            wanted = [22.0, -22.0]
        assert list(point.get_xdata()) == [row.hours_total] * len(wanted)
        assert list(point.get_ydata()) == wanted
        low, high = bar.get_segments()[0][:, 1]
        assert (low, high) == pytest.approx(
            (wanted[0] - row.power_u95_fringes, wanted[0] + row.power_u95_fringes)
        )


def test_verdicts_differ_in_shape(made_visits, visit):
    """Inside, unproven, outside and not judged have four shapes, told in the legend."""
    states = ("inside", "unproven", "outside", None)
    rows = [
        visit(power_fringes=1.0, verdict=state, hours_total=k) for k, state in enumerate(states)
    ]
    figure = progress_figure(rows, "A", 2.0)
    assert len({line.get_marker() for line in marks(power_axes(figure))}) == 4


def test_unknown_sense_is_a_hollow_pair(made_visits):
    """A power of unknown sign is shown on both sides, hollow, and no path runs through it."""
    axes = power_axes(progress_figure(made_visits(), "Convex", 1.0))
    (pair,) = [line for line in marks(axes) if len(line.get_xdata()) == 2]
    assert pair.get_markerfacecolor() == "#ffffff"
    (path,) = [line for line in axes.lines if np.isnan(np.asarray(line.get_ydata(), float)).any()]
    assert list(np.isnan(path.get_ydata())) == [False, False, True, False, False, False]


def test_scale_keeps_the_tolerance_readable(made_visits):
    """With early visits hundreds of times the tolerance, it still takes a fifth of the height."""
    axes = power_axes(progress_figure(made_visits(), "Convex", 1.0))
    assert axes.get_yscale() == "symlog"
    low, high = axes.transAxes.inverted().transform(axes.transData.transform([(5, -1), (5, 1)]))[
        :, 1
    ]
    assert high - low > 0.2
    plain = [replace(row, power_fringes=2.0, power_u95_fringes=0.1) for row in made_visits()]
    assert power_axes(progress_figure(plain, "Convex", 1.0)).get_yscale() == "linear"


def test_ticks_name_the_tolerance(made_visits):
    """The even part's ends, which are the tolerance, are labelled with their own value."""
    axes = power_axes(progress_figure(made_visits(), "Convex", 0.75))
    labels = [text.get_text() for text in axes.get_yticklabels()]
    assert {"+0.75", "0", "−0.75", "−100"} <= set(labels)


def test_visits_too_close_in_hours_stand_side_by_side(visit, assert_clean):
    """A visit without work since the one before is set beside it, and that is said."""
    rows = [visit(power_fringes=1.0, hours_total=h) for h in (1.0, 20.0, 40.0, 40.0)]
    figure = progress_figure(rows, "A", 2.0)
    axes = power_axes(figure)
    assert axes.get_xlabel() == "hours of work"
    places = [line.get_xdata()[0] for line in marks(axes)]
    assert places[:3] == [1.0, 20.0, 40.0]
    assert 40.5 < places[3] < 42
    assert any("side by side" in text for text in assert_clean(figure))


def test_the_hours_begin_with_the_first_work(visit):
    """The scale of hours holds the work before the first visit, and its stage's cell ends there."""
    worked = ((2.0, 120.0, "#400"), (3.0, 60.0, "#400"), (5.0, 120.0, "polish"))
    rows = [
        visit(power_fringes=1.0, hours_total=h, minutes=m, stage=stage) for h, m, stage in worked
    ]
    figure = progress_figure(rows, "A", 2.0)
    low, high = power_axes(figure).get_xlim()
    assert low < 0 < 5 < high
    strip = figure.axes[0]
    ends = [round(patch.get_x() + patch.get_width(), 6) for patch in strip.patches]
    assert ends == [3.0, 5.0]


def test_many_visits_without_work_are_counted_instead(visit):
    """Visits that would stand far from their hours are spread out by number."""
    hours = [0.0, 20.0, 40.0, 40.05, 40.1, 40.1, 40.1]
    rows = [visit(power_fringes=1.0, hours_total=h) for h in hours]
    axes = power_axes(progress_figure(rows, "A", 2.0))
    assert axes.get_xlabel() == "visit"
    assert [line.get_xdata()[0] for line in marks(axes)] == [1, 2, 3, 4, 5, 6, 7]
    axes = power_axes(progress_figure(rows, "A", 2.0, against="hours"))
    assert axes.get_xlabel() == "hours of work"


@pytest.mark.parametrize("width", [7.5, COLUMN_IN])
def test_stages_have_their_names(visit, assert_clean, width):
    """A stage whose name has no room in the strip is named above it, none by a letter."""
    stages = ["#120", "#240", "#400", "9um", "5um", *["polish"] * 15, "figure with a small lap"]
    rows = [
        visit(power_fringes=1.0, hours_total=0.5 * k, stage=stage) for k, stage in enumerate(stages)
    ]
    texts = assert_clean(progress_figure(rows, "A", 2.0, width_in=width))
    shown = [text for text in texts if text in stages]
    assert shown.count("polish") == 1
    assert set(shown) >= {"#120", "#240", "#400", "9um", "5um"}
    assert any(text.startswith("figure with a") for text in texts)


def test_the_latest_visit_is_said_in_words(made_visits, assert_clean):
    """The heading says the latest power, what is proven, and the next step."""
    texts = " ".join(assert_clean(progress_figure(made_visits(), "Convex", 1.0)))
    assert "visit 7, 10.5 h of work" in texts
    assert "power +0.60 ± 0.08 fringes; proven inside the tolerance" in texts
    assert "> 99.9 % probable to conform" in texts
    assert "Next step: stop." in texts
    assert "2026-10-01 to 2026-10-07" in texts


def many(visit, count):
    return [
        visit(
            f"2026-{1 + k // 28:02d}-{1 + k % 28:02d}",
            hours_total=0.4 * k,
            stage=f"stage {k % 40} of many",
            power_fringes=1e5 * 0.9**k,
            power_u95_fringes=1e4 * 0.9**k,
            irregularity_fringes=900.0,
            sense=("centre", "edge", "unknown")[k % 3],
            verdict=("outside", "unproven")[k % 2],
            probability=0.5,
            next_step="polish",
        )
        for k in range(count)
    ]


@pytest.mark.parametrize("case", ["one", "nothing read", "many", "no tolerance", "tiny", "two"])
def test_extremes_stay_clean(visit, made_visits, assert_clean, case):
    """No text overlaps or clips from a single visit to two hundred."""
    rows, tolerance = {
        "one": ([visit(power_fringes=2.2, sense="unknown")], None),
        "nothing read": ([visit(stage="grind"), visit(stage="grind")], 1.0),
        "many": (many(visit, 200), 0.001),
        "no tolerance": (made_visits(), None),
        "tiny": ([visit(power_fringes=1e-5, power_u95_fringes=1e-6, hours_total=1.0)], 1e-4),
        "two": (many(visit, 2), 1234.5),
    }[case]
    figure = progress_figure(
        rows,
        "Name " * 30,
        tolerance,
        irregularity_tolerance_fringes=0.3,
        wavelength_nm=546.07,
        diameter_mm=150.0,
        title="Progress " * 20,
    )
    texts = " ".join(assert_clean(figure))
    assert "λ = 546.07 nm" in texts
    assert "150 mm" in texts


def test_no_visits_are_refused():
    """A surface without visits has no progress; that is said in one line."""
    with pytest.raises(BadInput, match="no visits"):
        progress_figure([], "A")


@pytest.mark.parametrize(
    ("probability", "text"),
    [
        (1.0, "> 99.9 %"),
        (0.9995, "> 99.9 %"),
        (0.995, "99.5 %"),
        (0.957, "96 %"),
        (0.0, "< 0.1 %"),
        (0.005, "0.5 %"),
        (0.5, "50 %"),
    ],
)
def test_no_probability_is_called_certain(probability, text):
    """Probabilities near zero and one are bounds, never 0 or 100 %."""
    assert percent_text(probability) == text


def test_spherometer_and_fringes_share_the_scale(visit, assert_clean):
    """What the spherometer read is dotted; beside fringes of one visit its bar is drawn behind."""
    both = (
        SourceValue("fringes", 3.0, 0.1, "centre"),
        SourceValue("spherometer", 5.0, 6.0, "centre"),
    )
    rows = [
        visit(power_fringes=-40.0, power_u95_fringes=9.0, hours_total=1.0, method="spherometer"),
        visit(
            power_fringes=3.0,
            power_u95_fringes=0.1,
            hours_total=2.0,
            parts=both,
            method="fringes, spherometer",
        ),
    ]
    figure = progress_figure(rows, "A", 2.0)
    axes = power_axes(figure)
    (dots,) = [line for line in axes.lines if line.get_marker() == "."]
    assert list(zip(dots.get_xdata(), dots.get_ydata(), strict=True)) == [(1.0, -40.0)]
    bars = [c.lines[2][0].get_segments()[0][:, 1] for c in axes.containers]
    assert [-1.0, 11.0] in [sorted(bar) for bar in bars]
    assert "by spherometer" in assert_clean(figure)


@pytest.mark.parametrize("power", [3.0, 300.0])
def test_height_stands_at_the_right(visit, power):
    """Analytic: the right scale has the same ends as the left one, in half wavelengths."""
    rows = [visit(power_fringes=p, power_u95_fringes=0.1, hours_total=1.0) for p in (power, 1.0)]
    figure = progress_figure(rows, "A", 2.0, wavelength_nm=500.0)
    left = power_axes(figure)
    (right,) = [one for one in figure.axes if one.get_ylabel().startswith("gap at the rim")]
    assert right.get_yscale() == left.get_yscale()
    assert right.get_ylim() == pytest.approx([0.25 * end for end in left.get_ylim()])


def outlook(minutes=(60.0, 30.0, 120.0), rate=(0.6, 0.3, 1.2)):
    """A forecast of polishing, power growing."""
    return Forecast(
        Kind("polish", "tool"),
        Interval(*rate),
        0.5,
        Interval(*minutes),
        0.95,
        50.0,
        Interval(0.0, -0.2, 0.2),
        0.9,
        3,
        90.0,
        0,
        False,
    )


def test_the_forecast_is_drawn_ahead(visit, assert_clean):
    """From the last visit on, the middle rate's line; none where it leads away, or is not known."""
    rows = [
        visit(power_fringes=p, power_u95_fringes=0.1, hours_total=h, sense="edge")
        for p, h in ((-9.0, 1.0), (-6.0, 3.0))
    ]
    figure = progress_figure(rows, "A", 2.0, wavelength_nm=500.0, forecast=outlook())
    assert "forecast, 90 %" in assert_clean(figure)
    axes = power_axes(figure)
    (line,) = [one for one in axes.lines if one.get_linestyle() == ":"]
    x, y = line.get_xdata(), line.get_ydata()
    assert (x[0], y[0]) == (3.0, -6.0)
    # analytic: 0.6 um an hour are 2.4 fringes of 500 nm an hour
    assert (y[1] - y[0]) / (x[1] - x[0]) == pytest.approx(2.4)
    assert axes.get_xlim()[1] > x[-1] > 3.9
    away = progress_figure(
        rows, "A", 2.0, wavelength_nm=500.0, forecast=outlook(rate=(-0.6, -1.2, -0.3))
    )
    assert not [one for one in power_axes(away).lines if one.get_linestyle() == ":"]


def test_irregularity_fits_a_column(made_visits, assert_clean):
    """Irregularity alone has its stages, its limit and its intervals beside the power's column."""
    rows = [replace(row, irregularity_u95_fringes=0.05) for row in made_visits()]
    figure = irregularity_figure(rows, 0.5, width_in=COLUMN_IN)
    texts = assert_clean(figure)
    assert {"tolerance", "polish", "irregularity, fringes"} <= set(texts)
    for limit in (1.0, 0.155):
        power = progress_figure(
            rows, "A", limit, wavelength_nm=546.07, width_in=COLUMN_IN, irregularity=False
        )
        assert_clean(power)

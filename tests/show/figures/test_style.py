from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from fringe.show.figures.scales import nice_step, steps_between, tick_text
from fringe.show.figures.style import (
    AMBER,
    BRICK,
    INK,
    PAPER,
    TEAL,
    Facts,
    gap_colormap,
    height_colormap,
    printable,
    text_width_in,
    wrap,
)


def lightness(colour) -> float:
    """CIE L* of a colour (IEC 61966-2-1 and CIE 15, from memory)."""
    channel = np.array(to_rgb(colour))
    linear = np.where(channel <= 0.04045, channel / 12.92, ((channel + 0.055) / 1.055) ** 2.4)
    y = float(linear @ [0.2126, 0.7152, 0.0722])
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


def contrast(one, two) -> float:
    """Contrast ratio of two colours, as WCAG 2 defines it."""
    y = [((lightness(c) + 16) / 116) ** 3 for c in (one, two)]
    return (max(y) + 0.05) / (min(y) + 0.05)


def test_gap_colours_darken_evenly():
    """The gap's colours fall in lightness at every step, and evenly, so grey prints keep order."""
    steps = np.diff([lightness(gap_colormap()(share)) for share in np.linspace(0, 1, 33)])
    assert steps.max() < 0
    assert steps.min() > 1.7 * steps.mean()
    assert lightness(gap_colormap()(1.0)) < 20
    assert lightness(gap_colormap()(0.0)) > 95


def test_height_colours_tell_the_sign_in_grey():
    """A signed height's colours fall in lightness at every step, its ends far apart."""
    steps = [lightness(height_colormap()(share)) for share in np.linspace(0, 1, 33)]
    assert np.diff(steps).max() < 0
    assert steps[0] > 92
    assert 65 < steps[16] < 78
    assert steps[-1] < 20


def test_writing_and_lines_stand_out():
    """Text has a contrast of 7 and lines of 3 on paper (WCAG 2, AAA text and AA graphics)."""
    assert contrast(INK, PAPER) > 7
    for colour in (TEAL, BRICK):
        assert contrast(colour, PAPER) > 4.5
    # the three verdicts differ in lightness too where they touch each other
    assert contrast(AMBER, INK) > 3


def test_no_global_plotting_state_is_loaded():
    """Importing every figure loads no pyplot."""
    code = (
        "import sys, fringe.show.figures.overlay, fringe.show.figures.gap_map, "
        "fringe.show.figures.profile, "
        "fringe.show.figures.progress; sys.exit('matplotlib.pyplot' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_figures_ignore_the_users_settings(made_reading):
    """A user's own matplotlib settings change nothing in a figure."""
    import matplotlib as mpl

    from fringe.show.figures.gap_map import gap_map_figure
    from fringe.show.figures.style import png_bytes

    plain = png_bytes(gap_map_figure(made_reading()))
    with mpl.rc_context({"font.size": 30, "lines.linewidth": 9, "axes.facecolor": "red"}):
        odd = gap_map_figure(made_reading())
    assert png_bytes(odd) == plain


@pytest.mark.parametrize("width", [0.5, 2.4, 6.9])
def test_wrapped_lines_fit_and_keep_every_word(width):
    """Wrapping loses no character and no line is wider than the room."""
    text = "The edge was found over 61 % of " + "x" * 300 + " its length only; i i i WWWW."
    lines = wrap(text, width, 8.5)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert all(text_width_in(line, 8.5) <= width for line in lines)


def test_wrapping_nothing_gives_one_empty_line():
    """An empty text is one empty line."""
    assert wrap("", 2.0, 8.5) == [""]


def test_unprintable_characters_become_boxes():
    """Characters that the type lacks are boxes; line ends and tabs are spaces."""
    assert printable("a\tb\nλ⌀°レ") == "a b λ⌀°▯"


def test_facts_leave_out_what_is_not_known():
    """The line of facts holds what is known, in one order."""
    assert Facts(589.3, 150.0, 812.4, "Convex", "2026-11-25").line() == (
        "Convex  ·  2026-11-25  ·  aperture ⌀ 150 mm (812 px)  ·  λ = 589.3 nm"
    )
    assert Facts(546.07, None, 812.4).line() == "aperture ⌀ 812 px  ·  λ = 546.07 nm"
    assert Facts(546.07, edgeless=True).line() == "no edge in view  ·  λ = 546.07 nm"
    assert Facts(surface="A").line() == "A"


@pytest.mark.parametrize(
    ("span", "most", "step"),
    [(10.0, 10, 1.0), (10.1, 10, 2.0), (0.05, 10, 0.005), (152.0, 10, 20.0), (3.0, 10, 0.5)],
)
def test_steps_are_round(span, most, step):
    """Steps are 1, 2 or 5 times a power of ten, the least that keeps the count."""
    assert nice_step(span, most) == pytest.approx(step)


def test_no_span_has_a_step_all_the_same():
    """A scale of no length still has a step, so that nothing divides by zero."""
    assert nice_step(0.0, 10) == 1.0


def test_ticks_have_the_decimals_of_their_step():
    """Ticks between two ends are whole steps, written with a true minus and no minus zero."""
    ticks = steps_between(-0.25, 0.25, 0.1)
    assert [tick_text(one, 0.1, signed=True) for one in ticks] == [
        "−0.2",
        "−0.1",
        "0.0",
        "+0.1",
        "+0.2",
    ]
    assert tick_text(-1e-17, 0.05) == "0.00"
    assert tick_text(140.0, 20.0) == "140"

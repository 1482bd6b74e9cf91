"""Maps of work and plate, told apart by turning one of them."""

from __future__ import annotations

from matplotlib.figure import Figure

from fringe.judge.turning import TurnedForms
from fringe.orders.form_intervals import FormIntervals
from fringe.show.figures.form_grid import form_grid
from fringe.show.figures.gap_map import GUTTER_IN, draw_map, highest, signed_map
from fringe.show.figures.style import BODY_PT, MARGIN_IN, MUTED, SMALL_PT, Facts, Sheet, styled
from fringe.show.words import form_text


@styled
def turning_figure(forms: TurnedForms, facts: Facts) -> Figure:
    """Draw the work's own form and the plate's side by side, on one scale.

    Parameters
    ----------
    forms : TurnedForms
    facts : Facts
        With the wavelength that fringes are counted in.
    """
    nm = (facts.wavelength_nm or 0.0) / 2
    sheet = Sheet()
    top = sheet.heading("Whose error is it?", facts)
    side = (sheet.inner_in - GUTTER_IN) / 2
    pieces = (
        ("The work's own, as it lay at 0°", form_grid(forms.work), forms.work_figures),
        ("The plate's own, as it lay at 0°", form_grid(forms.plate), forms.plate_figures),
    )
    most = max(highest(grid) for _, grid, _ in pieces)
    bottom, left = top, MARGIN_IN
    for title, grid, figures in pieces:
        below = draw_map(sheet, left, top, side, signed_map(title, grid.rest, most), grid, nm)
        bottom = max(bottom, sheet.paragraph(left, below, side, _caption(figures), BODY_PT))
        left += side + GUTTER_IN
    width = sheet.inner_in
    note = sheet.paragraph(MARGIN_IN, bottom + 0.1, width, _note(forms), SMALL_PT, colour=MUTED)
    return sheet.finish(note + 0.18)


def _caption(figures: FormIntervals) -> str:
    return (
        f"Irregularity {form_text(figures.irregularity, figures.irregularity_u95)}, "
        f"rms {form_text(figures.rms, figures.rms_u95)}"
    )


def _note(forms: TurnedForms) -> str:
    lost = ", ".join(map(str, forms.undetermined))
    waves = f" By these angles, nor are waves of {lost} a turn." if lost else ""
    return (
        "Both as they add to the gap, as seen in the photographs, on one scale; contours as "
        "marked on the scales, dashed below zero. What is rotationally symmetric is in neither "
        "map: "
        f"turning cannot tell whose it is.{waves}"
    )

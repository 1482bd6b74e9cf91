"""What a turning test says of work and plate, in rows of text."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from fringe.archive.views.turning import TurningTest
from fringe.orders.form_intervals import FormIntervals
from fringe.show.text.lines import line, remark
from fringe.show.words import form_text


def turning_rows(test: TurningTest, picture: Path | None = None) -> Iterator[str]:
    """The form of each piece, and what turning cannot tell."""
    forms = test.forms
    yield f"{len(test.paths)} positions of the {_which(test)}, at {test.wavelength_nm:.1f} nm"
    yield from _piece("work", forms.work_figures)
    yield from _piece("plate", forms.plate_figures)
    yield remark(
        "what is rotationally symmetric, zones and turned edges among it, turns into itself: of "
        "that only the sum of both pieces is known"
    )
    if forms.undetermined:
        frequencies = ", ".join(map(str, forms.undetermined))
        yield remark(
            f"waves of {frequencies} a turn stay undetermined with these angles: five equal steps "
            "of 72 degrees leave but those of 5"
        )
    if not forms.agrees:
        yield remark(
            "the positions disagree by more than their uncertainty: the pieces were still "
            "settling, dust lay between them, or an angle is wrong"
        )
    if test.kept is not None:
        yield line("plate's map", f"kept in {test.kept}")
    if picture is not None:
        yield line("maps", f"drawn in {picture}")


def _which(test: TurningTest) -> str:
    """Name the pieces that were turned."""
    pieces = (("work", test.angles_deg), ("plate", test.plate_angles_deg))
    return " and the ".join(name for name, angles in pieces if len(set(angles)) > 1)


def _piece(name: str, figures: FormIntervals) -> Iterator[str]:
    shown = form_text(figures.irregularity, figures.irregularity_u95)
    yield f"  of the {name} itself"
    yield line("irregularity", shown)
    yield line("rms", form_text(figures.rms, figures.rms_u95))
    yield line("astigmatism", form_text(figures.astigmatism, figures.astigmatism_u95))

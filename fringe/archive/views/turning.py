"""Photographs of one contact with the work turned between them: whose error is it?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from fringe.archive.store.surface import find_surface
from fringe.archive.views.reading_options import stated_options
from fringe.errors import BadInput, Refused
from fringe.judge.turning import TurnedForms, turned_forms
from fringe.orders.options import StatedOptions
from fringe.orders.read import read_file
from fringe.orders.reading import Reading
from fringe.parallel import read_many
from fringe.units import number


@dataclass(frozen=True)
class TurningRequest:
    """What is asked of the photographs, beside how each is read.

    Attributes
    ----------
    turned : tuple of str
        By how much the work was turned in each, as ``90deg``; clockwise as the photographs show.
    surface : str or None
        ``ARCHIVE/NAME``: plate, lamp and diameter are taken from its record.
    """

    turned: tuple[str, ...] = ()
    surface: str | None = None


@dataclass(frozen=True)
class TurningTest:
    """Photographs with the work turned, and the forms of work and plate.

    Attributes
    ----------
    paths : tuple of Path
    angles_deg : tuple of float
        By how much the work was turned in each [degree].
    readings : tuple of Reading
    forms : TurnedForms
    """

    paths: tuple[Path, ...]
    angles_deg: tuple[float, ...]
    readings: tuple[Reading, ...]
    forms: TurnedForms

    @property
    def wavelength_nm(self) -> float:
        """Wavelength that the fringes are counted in [nm]."""
        return self.readings[0].wavelength_nm

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe turning --json`."""
        return {
            **self.forms.to_json(),
            "wavelength_nm": self.wavelength_nm,
            "photographs": [
                {"photo": str(path), "turned_deg": angle}
                for path, angle in zip(self.paths, self.angles_deg, strict=True)
            ],
        }


def turning_test(
    photos: Sequence[Path], request: TurningRequest, stated: StatedOptions
) -> TurningTest:
    """Read the photographs and tell the two forms apart.

    Raises
    ------
    BadInput
        If there is not one angle a photograph, or the readings cannot be joined.
    Refused
        If a photograph carries no reading.
    """
    if len(request.turned) != len(photos):
        raise BadInput(
            f"--turned: {len(request.turned)} angles for {len(photos)} photographs; give one each, "
            "as --turned 0deg --turned 72deg"
        )
    angles = tuple(angle_deg(text) for text in request.turned)
    surface = None if request.surface is None else find_surface(request.surface)
    options = stated_options(surface, stated)
    answers = read_many(list(photos), partial(read_file, options=options))
    for answer in answers:
        if isinstance(answer, Refused):
            raise answer
    readings = tuple(one for one in answers if not isinstance(one, Refused))
    return TurningTest(tuple(photos), angles, readings, turned_forms(readings, angles))


def angle_deg(text: str) -> float:
    """Read an angle, with or without its unit, as ``90deg``, ``90°`` or ``-45`` [degree]."""
    bare = text.strip().removesuffix("°").removesuffix("degrees").removesuffix("deg")
    return number(bare, "--turned")

"""Photographs of one contact with a piece turned between them: whose error is it?"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path

from fringe.archive.instruments import load_instrument
from fringe.archive.plate_maps import FIGURES, keep_map, plate_and_archive
from fringe.archive.plates.form import turning_sessions
from fringe.archive.plates.visits import plate_log
from fringe.archive.store.surface import find_surface
from fringe.archive.views.reading_options import stated_options
from fringe.errors import BadInput, Refused
from fringe.judge.turning import TurnedForms, turned_forms
from fringe.orders.options import ReadOptions, StatedOptions
from fringe.orders.plate_map import PlateMap
from fringe.orders.read import read_file
from fringe.orders.reading import Reading
from fringe.parallel import read_many
from fringe.units import angle_deg


@dataclass(frozen=True)
class TurningRequest:
    """What is asked of the photographs, beside how each is read.

    Attributes
    ----------
    turned : tuple of str
        By how much the work was turned in each, as ``90deg``; clockwise as the photographs show.
    plate_angles : tuple of str
        By how much the plate was turned in each, likewise. One of the two may be left out.
    surface : str or None
        ``ARCHIVE/NAME``: plate, lamp and diameter are taken from its record.
    keep : str or None
        ``ARCHIVE/PLATE``: the plate on record that the map of its form is kept with.
    """

    turned: tuple[str, ...] = ()
    plate_angles: tuple[str, ...] = ()
    surface: str | None = None
    keep: str | None = None


@dataclass(frozen=True)
class TurningTest:
    """Photographs with a piece turned, and the forms of work and plate.

    Attributes
    ----------
    paths : tuple of Path
    angles_deg, plate_angles_deg : tuple of float
        By how much the work and the plate were turned in each [degree].
    readings : tuple of Reading
    forms : TurnedForms
    options : ReadOptions
        What the photographs were read with.
    kept : Path or None
        File of the plate's map, where it was kept.
    """

    paths: tuple[Path, ...]
    angles_deg: tuple[float, ...]
    plate_angles_deg: tuple[float, ...]
    readings: tuple[Reading, ...]
    forms: TurnedForms
    options: ReadOptions
    kept: Path | None = None

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
                {"photo": str(path), "turned_deg": angle, "plate_turned_deg": of_plate}
                for path, angle, of_plate in zip(
                    self.paths, self.angles_deg, self.plate_angles_deg, strict=True
                )
            ],
            "kept": None if self.kept is None else str(self.kept),
        }

    def plate_map(self, plate: str) -> PlateMap:
        """The plate's form as it can be taken out of later readings.

        Raises
        ------
        BadInput
            If it cannot: the sign, the diameter or the form itself is not known.
        """
        problem = self._why_no_map()
        if problem is not None:
            raise BadInput(f"turning test: {problem}")
        diameter = self.options.diameter_mm
        assert diameter is not None
        return PlateMap.of(
            self.forms.plate,
            self.wavelength_nm,
            plate=plate,
            when=date.today().isoformat(),
            diameter_mm=diameter,
            angles_deg=self.angles_deg,
            plate_angles_deg=self.plate_angles_deg,
            undetermined=self.forms.undetermined,
            photographs=[one.reading_id for one in self.readings],
        )

    def _why_no_map(self) -> str | None:
        if self.readings[0].sense not in ("centre", "edge"):
            return "where the contact is is not known, so neither is the map's sign; say --sense"
        if not self.forms.agrees:
            return "the positions disagree by more than their uncertainty; nothing was kept"
        if not self.forms.plate.terms:
            return "these angles tell nothing of the plate; turn by other angles"
        return None

    def kept_with(self, archive: Path, plate: str) -> TurningTest:
        """Write the plate's map beside its record, and return the test with its file."""
        nm, figures = self.wavelength_nm / 2, self.forms.plate_figures
        sizes = (
            figures.irregularity,
            figures.irregularity_u95,
            figures.rms,
            figures.rms_u95,
        )
        shown = {name: nm * size for name, size in zip(FIGURES, sizes, strict=True)}
        log = plate_log(archive, load_instrument(archive, "plate", plate))
        made, seen = self.plate_map(plate), turning_sessions(log)
        return dataclasses.replace(self, kept=keep_map(archive, made, shown, sessions=seen))


def turning_test(
    photos: Sequence[Path], request: TurningRequest, stated: StatedOptions
) -> TurningTest:
    """Read the photographs and tell the two forms apart.

    Raises
    ------
    BadInput
        If there is not one angle a photograph, the readings cannot be joined, or the plate's
        map cannot be kept.
    Refused
        If a photograph carries no reading.
    """
    surface = None if request.surface is None else find_surface(request.surface)
    # a plate's map from an earlier test is not taken out here
    options = dataclasses.replace(stated_options(surface, stated), plate_map=None)
    keep = None if request.keep is None else plate_and_archive(request.keep)
    if keep is not None and options.diameter_mm is None:
        raise BadInput("--keep: give the diameter that the map is over: --diameter or --surface")
    test = turned_photographs(photos, request, options)
    return test if keep is None else test.kept_with(*keep)


def turned_photographs(
    photos: Sequence[Path], request: TurningRequest, options: ReadOptions
) -> TurningTest:
    """Read the photographs with these options and tell the two forms apart.

    Raises
    ------
    BadInput, Refused
        As :func:`turning_test`.
    """
    if not request.turned and not request.plate_angles:
        raise BadInput(
            "turning test: say by how much the work was turned in each photograph, as "
            "--turned 0deg --turned 72deg; or the plate, by --plate-turned"
        )
    angles = _angles(request.turned, "--turned", len(photos))
    of_plate = _angles(request.plate_angles, "--plate-turned", len(photos))
    answers = read_many(list(photos), partial(read_file, options=options))
    for answer in answers:
        if isinstance(answer, Refused):
            raise answer
    readings = tuple(one for one in answers if not isinstance(one, Refused))
    forms = turned_forms(readings, angles, of_plate)
    return TurningTest(tuple(photos), angles, of_plate, readings, forms, options)


def _angles(texts: Sequence[str], option: str, count: int) -> tuple[float, ...]:
    """One angle a photograph [degree]; zeros for a piece that was not turned."""
    if not texts:
        return (0.0,) * count
    if len(texts) != count:
        raise BadInput(
            f"{option}: {len(texts)} angles for {count} photographs; give one each, "
            f"as {option} 0deg {option} 72deg"
        )
    return tuple(angle_deg(text, option) for text in texts)

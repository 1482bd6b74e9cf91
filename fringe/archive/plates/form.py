"""A plate's form by the turning tests among its visits, and the map that is kept of it."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from fringe.archive.instruments import load_instrument
from fringe.archive.plate_maps import (
    FIGURES,
    keep_map,
    latest_by_itself,
    latest_file,
    sessions_seen,
    withdraw_map,
)
from fringe.archive.plates.visits import TURNING, PlateLog, PlateVisit, plate_folder, plate_log
from fringe.archive.store.claim import held
from fringe.errors import BadInput
from fringe.judge.plates.form import PlateForm, joined_form
from fringe.judge.turning import figures_of, turned_forms
from fringe.orders.plate_map import PlateMap
from fringe.orders.reading import FormFit


def tested_map(visit: PlateVisit) -> PlateMap | None:
    """The plate's form by one turning test; None for another visit.

    Raises
    ------
    BadInput
        If its readings cannot be joined.
    """
    said = visit.session.visit.inputs.get(TURNING)
    if not isinstance(said, dict):
        return None
    logged = visit.session.visit.readings
    readings = [one.reading for one in logged]
    angles, of_plate = (_angles(said.get(name), len(readings)) for name in _ANGLES)
    forms = turned_forms(readings, angles, of_plate)
    diameter = logged[0].options.get("diameter_mm") if logged else None
    if not isinstance(diameter, int | float):
        raise BadInput(f"{visit.summary.place}: its readings tell no diameter")
    return PlateMap.of(
        forms.plate,
        readings[0].wavelength_nm,
        plate=visit.plate.name,
        when=f"{visit.summary.when:%Y-%m-%d}",
        diameter_mm=float(diameter),
        angles_deg=angles,
        plate_angles_deg=of_plate,
        undetermined=forms.undetermined,
        photographs=[one.reading_id for one in readings],
    )


_ANGLES = ("turned_deg", "plate_turned_deg")


def _angles(said: Any, count: int) -> list[float]:
    if said is None:
        return [0.0] * count
    if not isinstance(said, list) or not all(isinstance(one, int | float) for one in said):
        raise BadInput("turning test: its angles are no numbers")
    return [float(one) for one in said]


def tested_form(log: PlateLog, problems: list[str]) -> tuple[PlateForm | None, tuple[int, ...]]:
    """The form by all turning tests of a plate that count, and the numbers of their visits."""
    maps, numbers = [], []
    for visit in log.visits:
        try:
            found = tested_map(visit)
        except BadInput as error:
            problems.append(f"{visit.label}: {error}")
            continue
        if found is not None:
            maps.append(found)
            numbers.append(visit.number)
    return joined_form(maps), tuple(numbers)


def keep_form(archive: Path, log: PlateLog) -> Path | None:
    """Keep the map that follows from a plate's visits, where another one counts now.

    Two who log at once keep it one after the other.

    Raises
    ------
    BadInput
        If it cannot be written.
    """
    with held(log.folder):
        return _keep_form(archive, log)


def _keep_form(archive: Path, log: PlateLog) -> Path | None:
    sessions, plate = turning_sessions(log), log.plate.name
    if set(sessions) == set(sessions_seen(archive, plate)):
        return None
    form, numbers = tested_form(log, [])
    if form is not None:
        sizes = _figures_nm(form)
        return keep_map(archive, form.known, sizes, numbers, sessions, form.birge_ratio)
    now = latest_file(archive, plate)
    before = now if now is None or not now.visits else latest_by_itself(archive, plate)
    if before is None:
        return withdraw_map(archive, plate, sessions)
    return keep_map(archive, before.known, before.figures, sessions=sessions)


def turning_sessions(log: PlateLog | None) -> tuple[str, ...]:
    """Sessions of the turning tests that count among a plate's visits."""
    visits = () if log is None else log.visits
    return tuple(one.summary.session_id for one in visits if one.is_turning)


def is_behind(archive: Path, log: PlateLog) -> bool:
    """Whether the map that counts is not that of the visits: its writer was cut off before it.

    Raises
    ------
    BadInput
        If the map cannot be read.
    """
    return set(turning_sessions(log)) != set(sessions_seen(archive, log.plate.name))


def finish_form(archive: Path, log: PlateLog) -> None:
    """Keep the map that a writer who was cut off did not, where that can be done.

    Where a session cannot be read nothing is kept: the check tells, and it may come back.
    """
    with suppress(OSError, BadInput):  # read-only, or held by who keeps it now
        if not log.problems and is_behind(archive, log):
            with held(log.folder, patience_s=0.0):
                _keep_form(archive, log)


def finish_form_of(archive: Path, plate: str) -> None:
    """As :func:`finish_form`, of a plate by its name."""
    with suppress(BadInput):
        if plate_folder(archive, plate) is not None:
            log = plate_log(archive, load_instrument(archive, "plate", plate))
            if log is not None:
                finish_form(archive, log)


def _figures_nm(form: PlateForm) -> dict[str, float]:
    known = form.known
    if not known.terms:
        return {}
    fit = FormFit(known.terms, _array(known.values_nm), known.covariance())
    sizes = figures_of(fit)
    values = (sizes.irregularity, sizes.irregularity_u95, sizes.rms, sizes.rms_u95)
    return dict(zip(FIGURES, values, strict=True))


def _array(values: Sequence[float]) -> Any:
    import numpy as np

    return np.array(values)

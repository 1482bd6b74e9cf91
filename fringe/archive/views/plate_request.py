"""A visit of a plate as a person describes it, before anything is read."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any

from fringe.archive.views.visit_request import INPUT_NAMES, Lists, time_of
from fringe.errors import BadInput
from fringe.judge.plates.calibration import months

_CERTIFICATE = ("radius_mm", "radius_u_mm", "certified", "issued_by", "recalibrate")
# fields that say how it is logged, not what
_NOT_SAID = ("yes", "replaces", "strike", "turned", "plate_angles", *_CERTIFICATE)


@dataclass(frozen=True)
class PlateRequest:
    """What is said of a plate's visit, beside how its photographs were taken.

    Attributes
    ----------
    spherometer : str or None
        On record.
    sag, zero : tuple of tuple of TypedLength
        Its readings on the plate and on a flat.
    reading_u_mm : float or None
        Standard uncertainty of one of them [mm].
    against : str or None
        Plate on record that it was laid on, or of a turning test whatever lay on it.
    aperture_mm : float or None
        Of a circle smaller than both [mm].
    burst : bool
        The photographs are frames of one contact.
    by_eye : str or None
        Fringes seen without a camera.
    turned, plate_angles : tuple of str
        Of a turning test: by how much the other piece, or this plate, was turned in each
        photograph.
    radius_mm, radius_u_mm : float or None
        Of a new certificate: radius and its standard uncertainty [mm].
    certified, issued_by, recalibrate : str or None
        Its date, who issued it, and after what time the next one is due.
    plate_diameter_mm : float or None
        Of the plate, where its record does not say it [mm].
    remark, by, when : str or None
        Free text; who measured; time of the visit.
    replaces, strike : str or None
        Number of the visit that this one corrects, or that is taken out of every sum.
    yes : bool
        Do not ask about what is hardly meant.
    as_typed : str or None
        Expanded uncertainties as they were typed.
    """

    spherometer: str | None = None
    sag: Lists = ()
    zero: Lists = ()
    reading_u_mm: float | None = None
    against: str | None = None
    aperture_mm: float | None = None
    burst: bool = False
    by_eye: str | None = None
    turned: tuple[str, ...] = ()
    plate_angles: tuple[str, ...] = ()
    radius_mm: float | None = None
    radius_u_mm: float | None = None
    certified: str | None = None
    issued_by: str | None = None
    recalibrate: str | None = None
    plate_diameter_mm: float | None = None
    remark: str | None = None
    by: str | None = None
    when: str | None = None
    replaces: str | None = None
    strike: str | None = None
    yes: bool = False
    as_typed: str | None = None

    def time(self) -> datetime | None:
        """Return when it was, if that is said; `BadInput` for what is no time."""
        return time_of(self.when)

    @property
    def of_turning(self) -> bool:
        """Whether its photographs are of a turning test."""
        return bool(self.turned or self.plate_angles)

    def certificate(self) -> dict[str, Any]:
        """What is said of a certificate, as a visit keeps it; empty where nothing is.

        Raises
        ------
        BadInput
            If a date or time makes no sense.
        """
        said = {
            "radius_mm": self.radius_mm,
            "u_radius_mm": self.radius_u_mm,
            "certified": None if self.certified is None else _day(self.certified),
            "issued_by": self.issued_by,
            "recalibrate_months": None if self.recalibrate is None else months(self.recalibrate),
        }
        return {name: value for name, value in said.items() if value is not None}

    def inputs(self) -> dict[str, object]:
        """What else was said, in a form that JSON has."""
        found: dict[str, object] = {}
        for field in fields(self):
            value = getattr(self, field.name)
            if value in (None, (), "", False) or field.name in _NOT_SAID:
                continue
            if isinstance(value, tuple):
                value = [[length.text for length in each] for each in value]
            found[INPUT_NAMES.get(field.name, field.name)] = value
        return found


def _day(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise BadInput(f"--certified: {text!r} is not a date; write 2026-03-14") from error

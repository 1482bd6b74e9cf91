"""A plate's own form, as a turning test found it, to be kept and taken out of later readings."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fringe.errors import BadInput
from fringe.optics.zernike import Term, radial_coefficients

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from fringe.orders.reading import FormFit

_DIGITS = 7  # significant ones of the numbers that are kept


@dataclass(frozen=True)
class PlateMap:
    """The form of a plate, in the frame of the photographs that it was found from.

    Rotationally symmetric terms are not in it: turning does not tell them from the work's.

    Attributes
    ----------
    plate : str
        Name of the plate.
    when : str
        Date of the turning test, ISO 8601.
    diameter_mm : float
        Of the circle that it is over, in the middle of the plate [mm].
    terms : tuple of (int, int)
        Zernike indices (n, m), m not zero, unnormalised.
    values_nm : tuple of float
        Coefficients, as they add to the gap [nm].
    covariance_nm2 : tuple of tuple of float
        Lower triangle of their covariance, a row a term [nm^2].
    angles_deg, plate_angles_deg : tuple of float
        By how much work and plate were turned in the test [degree]; the map is of the plate at
        angle zero.
    undetermined : tuple of int
        Azimuthal frequencies that those angles do not tell apart.
    photographs : tuple of str
        SHA-256 of each.
    """

    plate: str
    when: str
    diameter_mm: float
    terms: tuple[Term, ...]
    values_nm: tuple[float, ...]
    covariance_nm2: tuple[tuple[float, ...], ...]
    angles_deg: tuple[float, ...] = ()
    undetermined: tuple[int, ...] = ()
    photographs: tuple[str, ...] = ()
    plate_angles_deg: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what is not the form of a plate."""
        problem = self._problem()
        if problem:
            raise BadInput(f"the map of {self.plate} cannot be used: {problem}")

    @staticmethod
    def of(
        form: FormFit,
        wavelength_nm: float,
        *,
        plate: str,
        when: str,
        diameter_mm: float,
        angles_deg: Sequence[float],
        undetermined: Sequence[int],
        photographs: Sequence[str],
        plate_angles_deg: Sequence[float] = (),
    ) -> PlateMap:
        """Make a map of a form in fringes of a wavelength."""
        nm = wavelength_nm / 2
        return PlateMap(
            plate,
            when,
            diameter_mm,
            form.terms,
            tuple(_rounded(nm * x) for x in form.values),
            tuple(
                tuple(_rounded(nm**2 * x) for x in row[: place + 1])
                for place, row in enumerate(form.covariance)
            ),
            tuple(angles_deg),
            tuple(undetermined),
            tuple(photographs),
            tuple(plate_angles_deg) if any(plate_angles_deg) else (),
        )

    def covariance(self) -> NDArray[np.float64]:
        """Covariance of the coefficients, shape (T, T) [nm^2]."""
        import numpy as np

        full = np.zeros((len(self.terms), len(self.terms)))
        for place, row in enumerate(self.covariance_nm2):
            full[place, : place + 1] = full[: place + 1, place] = row
        return full

    def digest(self) -> str:
        """SHA-256 of the map as it is kept."""
        kept = json.dumps(self._values(), sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(kept.encode()).hexdigest()

    def to_json(self) -> dict[str, Any]:
        """Return the kept form, plain values alone, with its digest."""
        return {**self._values(), "sha256": self.digest()}

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> PlateMap:
        """Read the kept form.

        Raises
        ------
        BadInput
            If something is missing, makes no sense or does not fit the digest.
        """
        try:
            made = cls(
                plate=str(values["plate"]),
                when=str(values["when"]),
                diameter_mm=float(values["diameter_mm"]),
                terms=tuple((int(n), int(m)) for n, m in values["terms"]),
                values_nm=tuple(float(x) for x in values["values_nm"]),
                covariance_nm2=tuple(
                    tuple(float(x) for x in row) for row in values["covariance_nm2"]
                ),
                angles_deg=tuple(float(x) for x in values["angles_deg"]),
                undetermined=tuple(int(x) for x in values["undetermined_frequencies"]),
                photographs=tuple(str(x) for x in values["photographs"]),
                plate_angles_deg=tuple(float(x) for x in values.get("plate_angles_deg", ())),
            )
        except KeyError as error:
            raise BadInput(f"a plate's map has no {error.args[0]}") from error
        except (TypeError, ValueError) as error:
            raise BadInput(f"a plate's map cannot be used: {error}") from error
        if values.get("sha256") != made.digest():
            raise BadInput("a plate's map does not fit its digest: it was changed")
        return made

    def _values(self) -> dict[str, Any]:
        # left out where only the work was turned, so that maps kept without it have their digest
        of_plate = [float(angle) for angle in self.plate_angles_deg]
        return {
            "plate": self.plate,
            "when": self.when,
            "diameter_mm": float(self.diameter_mm),
            "terms": [list(term) for term in self.terms],
            "values_nm": list(self.values_nm),
            "covariance_nm2": [list(row) for row in self.covariance_nm2],
            "angles_deg": [float(angle) for angle in self.angles_deg],
            **({"plate_angles_deg": of_plate} if of_plate else {}),
            "undetermined_frequencies": list(self.undetermined),
            "photographs": list(self.photographs),
        }

    def _problem(self) -> str | None:
        """Say what is wrong; None if nothing."""
        if not 0 < self.diameter_mm < math.inf:
            return f"a diameter of {self.diameter_mm:g} mm"
        for n, m in self.terms:
            radial_coefficients(n, m)  # says which term there is not
        if any(m == 0 or n < 2 or (n, -m) not in self.terms for n, m in self.terms):
            return "its terms are not those that turning tells apart"
        rows = [len(row) for row in self.covariance_nm2]
        if len(self.values_nm) != len(self.terms) or rows != [*range(1, len(self.terms) + 1)]:
            return "its numbers do not match its terms"
        numbers = [*self.values_nm, *(x for row in self.covariance_nm2 for x in row)]
        return None if all(map(math.isfinite, numbers)) else "a number in it is not finite"


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")

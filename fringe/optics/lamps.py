"""Lamps: the lines they shine, and how the contrast of fringes falls with the gap.

Importing this module and asking for a wavelength loads no numpy.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from fringe.errors import BadInput, did_you_mean

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

# An LED's peak differs from its label by its bin and its temperature, and the camera's colour
# filter shifts the effective wavelength further: a tenth of the width (common practice, no source).
LED_U_SHARE = 0.1


@dataclass(frozen=True)
class Line:
    """One spectral line.

    Attributes
    ----------
    wavelength_nm : float
        Peak, in standard air [nm].
    weight : float
        Share of the lamp's light, on any scale.
    fwhm_nm : float
        Full width at half maximum of its Gaussian profile [nm].
    """

    wavelength_nm: float
    weight: float
    fwhm_nm: float = 0.0


@dataclass(frozen=True)
class Lamp:
    """A lamp as the camera sees it.

    Attributes
    ----------
    name : str
        As given on the command line.
    lines : tuple of Line
        At least one.
    u_wavelength_nm : float
        Standard uncertainty of `wavelength_nm` in use [nm].
    source : str
        Where the wavelengths come from.
    trust : str
        `read` when the source was seen, `memory` when recalled, `given` by the user.
    note : str
        One line for the person at the bench.
    is_mixed : bool
        Its lines are of several colours, which no wavelength between them stands for.
    """

    name: str
    lines: tuple[Line, ...]
    u_wavelength_nm: float
    source: str
    trust: str = "given"
    note: str = ""
    is_mixed: bool = False

    @property
    def wavelength_nm(self) -> float:
        """Mean wavelength in air, weighted by the lines' shares [nm].

        Of a lamp of several colours that of the strongest line, in which its fringes are counted.
        """
        if self.is_mixed:
            return max(self.lines, key=lambda line: line.weight).wavelength_nm
        total = math.fsum(line.weight for line in self.lines)
        return math.fsum(line.weight * line.wavelength_nm for line in self.lines) / total

    def visibility(self, opd_nm: ArrayLike) -> NDArray[np.complex128]:
        """Complex degree of coherence, relative to a wave of the mean wavelength.

        Fringes are ``1 + Re(V exp(2 pi i opd / wavelength_nm))``.

        Parameters
        ----------
        opd_nm : array_like, any shape
            Optical path difference, twice the gap at normal view [nm].

        Returns
        -------
        ndarray, complex, shape of `opd_nm`
            1 at zero path difference.

        Notes
        -----
        For each line ``V_i(opd) = exp(-(pi opd fwhm / l_i^2)^2 / (4 ln 2))``, the transform of
        a Gaussian; Akcay et al., Appl. Opt. 41 (2002) 5256.
        """
        import numpy as np

        opd = np.asarray(opd_nm, dtype=float)
        mean = self.wavelength_nm
        total = math.fsum(line.weight for line in self.lines)
        result = np.zeros(opd.shape, dtype=complex)
        for line in self.lines:
            width = math.pi * line.fwhm_nm / line.wavelength_nm**2
            detune = (mean - line.wavelength_nm) / (mean * line.wavelength_nm)
            exponent = -((width * opd) ** 2) / (4 * math.log(2)) + 2j * math.pi * detune * opd
            result += line.weight / total * np.exp(exponent)
        return result

    def contrast(self, opd_nm: ArrayLike) -> NDArray[np.float64]:
        """Contrast of the fringes, the modulus of `visibility`, 0 to 1; shape of `opd_nm`."""
        import numpy as np

        return np.asarray(np.abs(self.visibility(opd_nm)), dtype=float)

    @property
    def coherence_length_nm(self) -> float:
        """Path difference at which the widest line's own contrast is one half [nm].

        ``(2 ln 2 / pi) lambda^2 / fwhm``, Akcay et al. (2002) eq. 8. The gap is half of it.
        Infinite for lines without width.
        """
        return min(
            (
                2 * math.log(2) / math.pi * line.wavelength_nm**2 / line.fwhm_nm
                for line in self.lines
                if line.fwhm_nm > 0
            ),
            default=math.inf,
        )

    def to_json(self) -> dict[str, object]:
        """Return name, wavelength, uncertainty, lines and source as plain values."""
        return {
            "name": self.name,
            "wavelength_nm": self.wavelength_nm,
            "u_wavelength_nm": self.u_wavelength_nm,
            "lines": [
                {
                    "wavelength_nm": line.wavelength_nm,
                    "weight": line.weight,
                    "fwhm_nm": line.fwhm_nm,
                }
                for line in self.lines
            ],
            "source": self.source,
            "trust": self.trust,
            "note": self.note,
        }


@cache
def lamp_table() -> dict[str, dict[str, Any]]:
    """Return the lamp table as it stands in `calibration/lamps.toml`, by name."""
    import tomllib
    from importlib.resources import files

    return tomllib.loads((files("fringe.calibration") / "lamps.toml").read_text("utf-8"))


def lamp_names() -> list[str]:
    """Names in the lamp table, in its order."""
    return list(lamp_table())


def lamp(name: str, others: Sequence[str] = ()) -> Lamp:
    """Look a lamp up.

    Parameters
    ----------
    name : str
        A name from the table, or ``led:PEAK_NM:FWHM_NM`` for a Gaussian spectrum.
    others : sequence of str
        Names of lamps that are on record elsewhere, one of which may have been meant.

    Returns
    -------
    Lamp

    Raises
    ------
    BadInput
        If there is no such lamp, with the nearest name, or the LED's numbers make no sense.
    """
    word = name.strip().lower()
    if word.startswith("led:"):
        return _led(name, word)
    entry = lamp_table().get(word)
    if entry is None:
        known = [*others, *lamp_names()]
        raise BadInput(
            f"no lamp named {name!r}; {did_you_mean(name, known)}the lamps are "
            f"{', '.join(known)}, or led:PEAK_NM:FWHM_NM as led:525:30"
        )
    lines = tuple(
        Line(float(line["air_nm"]), float(line["weight"]), float(line["fwhm_nm"]))
        for line in entry["lines"]
    )
    return Lamp(
        name=word,
        lines=lines,
        u_wavelength_nm=float(entry["u_nm"]),
        source=str(entry["source"]),
        trust=str(entry["trust"]),
        note=str(entry["note"]),
        is_mixed=is_mixed(word),
    )


def is_mixed(name: str) -> bool:
    """Whether the table has a lamp of that name whose lines are of several colours."""
    return bool(lamp_table().get(name, {}).get("mixed", False))


def light_nm(name: str | None, wavelength_nm: float | None) -> float:
    """Wavelength that fringes are counted in: a lamp's by its name, or as given [nm].

    Raises
    ------
    BadInput
        Without either, with both, or if the number is no light.
    """
    if (name is None) == (wavelength_nm is None):
        raise BadInput(
            "fringes need one light: --lamp NAME (see `fringe lamps`) or --wavelength 589.3nm"
        )
    if name is not None:
        return lamp(name).wavelength_nm
    assert wavelength_nm is not None
    if not 200 <= wavelength_nm <= 2500:
        raise BadInput(
            f"--wavelength: {wavelength_nm:g} nm is not light in which fringes are seen; "
            "write for example 589.3nm"
        )
    return wavelength_nm


def _led(name: str, word: str) -> Lamp:
    try:
        peak, fwhm = (float(part.removesuffix("nm")) for part in word.split(":")[1:])
    except ValueError:
        raise BadInput(
            f"lamp {name!r}: write led:PEAK_NM:FWHM_NM, as led:525:30 (peak, then full width "
            "at half maximum)"
        ) from None
    if not 200 <= peak <= 2000:
        raise BadInput(f"lamp {name!r}: the peak must lie between 200 and 2000 nm")
    if not 0 < fwhm <= peak / 4:
        raise BadInput(
            f"lamp {name!r}: the full width at half maximum must be over 0 and at most a "
            "quarter of the peak"
        )
    source = "peak and width as given; Gaussian spectrum assumed"
    return Lamp(word, (Line(peak, 1.0, fwhm),), LED_U_SHARE * fwhm, source)

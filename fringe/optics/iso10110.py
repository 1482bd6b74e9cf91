"""The form tolerance code of ISO 10110-5, `3/ A(B/C)`: written and read.

The 2015 edition prefers nanometres and allows fringe spacings if the wavelength is stated;
so a code in fringes always carries its wavelength here, and one without is refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal

from fringe.errors import BadInput

_NUMBER = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_CODE = re.compile(
    rf"""^\s*3\s*/\s*
        (?P<A>{_NUMBER}|[-–—])\s*(?P<Anm>nm)?\s*
        (?:\(\s*(?P<B>{_NUMBER}|[-–—])\s*(?P<Bnm>nm)?\s*
           (?:/\s*(?P<C>{_NUMBER}|[-–—])\s*(?P<Cnm>nm)?\s*)?\))?\s*(?P<rest>.*)$""",
    re.VERBOSE,
)
_RMS = re.compile(rf"^RMS\s*(?P<kind>[tia])\s*<\s*(?P<value>{_NUMBER})\s*(?P<nm>nm)?$")
_WAVE = re.compile(rf"^(?:λ|lambda|wavelength)\s*=\s*(?P<value>{_NUMBER})\s*(?P<unit>nm|um|µm|μm)$")


@dataclass(frozen=True)
class FormCode:
    """A form tolerance as read from its code; `None` where the code is silent or says `-`.

    Attributes
    ----------
    power_nm, irregularity_nm, symmetric_irregularity_nm : float or None
        A, B and C as heights of the surface [nm].
    rms_total_nm, rms_irregularity_nm, rms_asymmetry_nm : float or None
        RMSt, RMSi and RMSa as heights of the surface [nm].
    wavelength_nm : float or None
        Wavelength that the code states [nm].
    """

    power_nm: float | None
    irregularity_nm: float | None = None
    symmetric_irregularity_nm: float | None = None
    rms_total_nm: float | None = None
    rms_irregularity_nm: float | None = None
    rms_asymmetry_nm: float | None = None
    wavelength_nm: float | None = None

    @property
    def rms_nm(self) -> tuple[float | None, float | None, float | None]:
        """RMSt, RMSi and RMSa [nm]."""
        return self.rms_total_nm, self.rms_irregularity_nm, self.rms_asymmetry_nm


def iso10110_text(
    power: float | None,
    irregularity: float | None,
    symmetric: float | None,
    wavelength_nm: float,
    *,
    rms: Mapping[str, float | None] | None = None,
    limits: bool = False,
) -> str:
    """Write a form in fringes as its code, with the wavelength.

    Parameters
    ----------
    power, irregularity, symmetric : float or None
        A, B and C [fringe]; the sign of the power is not part of the code.
    wavelength_nm : float
        Wavelength of the fringes [nm].
    rms : mapping, optional
        From `t`, `i` or `a` to RMSt, RMSi, RMSa [fringe]; None: not part of the code.
    limits : bool
        The numbers are limits: three figures of each, rounded down, and the wavelength too, so
        that the printed code never allows more than the limits do. Otherwise they are
        measured values, rounded to the nearest.

    Returns
    -------
    str
        For example ``3/ 2.0(0.30/0.10); λ = 589.3 nm``.
    """
    if not 0 < wavelength_nm < math.inf:
        raise BadInput("a form in fringes needs its wavelength")

    def shown(value: float | None, decimals: int = 2) -> str:
        if value is None:
            return "-"
        return rounded_down(value, decimals) if limits else f"{value:.{decimals}f}"

    size = None if power is None else abs(power)
    text = f"3/ {shown(size, 1 if size is not None and size >= 1 else 2)}"
    if irregularity is not None or symmetric is not None:
        inner = shown(irregularity)
        if symmetric is not None:
            inner += f"/{shown(symmetric)}"
        text += f"({inner})"
    roots = {kind: value for kind, value in (rms or {}).items() if value is not None}
    text += "".join(f"; RMS{kind} < {shown(value)}" for kind, value in roots.items())
    wavelength = rounded_down(wavelength_nm, 1, 5) if limits else f"{wavelength_nm:.1f}"
    return f"{text}; λ = {wavelength} nm"


def rounded_down(value: float, decimals: int, figures: int = 3) -> str:
    """Write a limit so that it never allows more: rounded down to some figures.

    Parameters
    ----------
    value : float
        The limit, not negative.
    decimals : int
        Decimals that are shown even where they are zeros.
    figures : int
        Significant figures that are kept.

    Returns
    -------
    str
        At least `decimals` decimals; what is exact in fewer figures stays as it is.
    """
    if value <= 0:
        return f"{0:.{decimals}f}"
    # what differs from a round number by the error of binary fractions alone is that number
    exact = Decimal(repr(float(f"{value:.12g}")))
    step = Decimal(1).scaleb(min(exact.adjusted() - figures + 1, -decimals))
    text = f"{exact.quantize(step, ROUND_DOWN):f}"
    whole, _, fraction = text.partition(".")
    return f"{whole}.{fraction.rstrip('0').ljust(decimals, '0')}".rstrip(".")


def parse_iso10110(text: str, wavelength_nm: float | None = None) -> FormCode:
    """Read a form tolerance code.

    Parameters
    ----------
    text : str
        For example ``3/ 2(1/0.5); λ = 632.8 nm``, ``3/ - (1); RMSa < 0.1; λ = 546 nm`` or
        ``3/ 633 nm(316 nm/158 nm)``.
    wavelength_nm : float, optional
        Wavelength of the fringes where the code itself states none [nm].

    Returns
    -------
    FormCode

    Raises
    ------
    BadInput
        If it is no such code, or a number in fringes has no wavelength.
    """
    match = _CODE.match(text)
    if match is None:
        raise BadInput(f"{text!r} is not a form code; write it as 3/ A(B/C); λ = 546.1 nm")
    rms: dict[str, tuple[str, str | None]] = {}
    for clause in filter(None, (part.strip() for part in re.split(r"[;]", match["rest"]))):
        if clause_match := _RMS.match(clause):
            rms[clause_match["kind"]] = (clause_match["value"], clause_match["nm"])
        elif clause_match := _WAVE.match(clause):
            wavelength_nm = _number(clause_match["value"]) * (
                1 if clause_match["unit"] == "nm" else 1000
            )
        else:
            raise BadInput(f"{text!r}: cannot read {clause!r}; as in 3/ A(B/C); λ = 546.1 nm")
    # one `nm` anywhere in A(B/C) makes the whole of it nanometres
    nm = match["Anm"] or match["Bnm"] or match["Cnm"]

    def height(value: str | None, unit: str | None) -> float | None:
        return _height_nm(value, unit, wavelength_nm, text)

    return FormCode(
        power_nm=height(match["A"], nm),
        irregularity_nm=height(match["B"], nm),
        symmetric_irregularity_nm=height(match["C"], nm),
        rms_total_nm=height(*rms.get("t", (None, None))),
        rms_irregularity_nm=height(*rms.get("i", (None, None))),
        rms_asymmetry_nm=height(*rms.get("a", (None, None))),
        wavelength_nm=wavelength_nm,
    )


def _height_nm(
    value: str | None, unit: str | None, wavelength_nm: float | None, text: str
) -> float | None:
    if value is None or value in "-–—":
        return None
    if unit:
        return _number(value)
    if wavelength_nm is None:
        raise BadInput(
            f"{text!r} is in fringes but states no wavelength; add `; λ = 546.1 nm` (or write nm)"
        )
    return _number(value) * wavelength_nm / 2


def _number(text: str) -> float:
    return float(text.replace(",", "."))

"""Stages of the work: grits by number or grain size, and polishing; how deep their pits are."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from fringe.errors import BadInput

UM_PER_MM = 1e3
_SIZE = re.compile(r"(?i)(\d+(?:[.,]\d+)?)\s*(?:um|µm|μm|mics?|microns?)\b")
_NUMBER = re.compile(
    r"(?i)(?:#\s*|\bgrit\s*|\bno\.?\s*)(\d{2,4})\b|\b(\d{2,4})\s*grit\b|^\s*(\d{2,4})\s*$"
)
_WHOLE_WORD = r"(?i)(?<![A-Za-z]){}\s*#?\s*(\d{{1,4}}(?:[.,]\d+)?)(?!\d)"
_OWN_GRIT = "(grit)"  # after a name of one's own, as a session keeps it


@dataclass(frozen=True)
class Stage:
    """A stage of the work.

    Attributes
    ----------
    name : str
        As it was logged.
    polish : bool
        Whether it polishes; otherwise it grinds.
    size_um : float or None
        Grain size that half of the grains exceed [um]; None: not known, and for polishing.
    key : str
        The same for every way of writing one stage.
    source : str
        Where the size is from.
    known : bool
        It is polishing, or a grit by its size, its number or because somebody said so.
    """

    name: str
    polish: bool = False
    size_um: float | None = None
    key: str = ""
    source: str = ""
    known: bool = True

    @property
    def fineness(self) -> float:
        """Place in the order of stages: small for coarse, largest for polishing."""
        if self.polish:
            return math.inf
        return -math.inf if self.size_um is None else 1.0 / self.size_um


@cache
def abrasives_table() -> dict[str, Any]:
    """Return the table as it stands in `calibration/abrasives.toml`."""
    import tomllib
    from importlib.resources import files

    return tomllib.loads((files("fringe.calibration") / "abrasives.toml").read_text("utf-8"))


@cache
def stage(name: str) -> Stage:
    """Understand a stage as people write it: `#400`, `F400`, `9 um`, `polish`, free text.

    Parameters
    ----------
    name : str
        As it was logged.

    Returns
    -------
    Stage
        Of unknown size where neither a size nor a known number is found.
    """
    text = " ".join(name.split())
    if is_polish(text):
        return Stage(name, True, key="polish")
    size = _SIZE.search(text)
    if size is not None:
        size_um = float(size[1].replace(",", "."))
        if size_um > 0:
            return Stage(name, False, size_um, f"{size_um:.3g} um", "by its name")
    for series in _series():
        numbered = re.search(_WHOLE_WORD.format(series["prefix"]), text)
        number = "" if numbered is None else numbered[1].replace(",", ".")
        if number in series["sizes"]:
            return _of_series(name, series, number)
    bare = _NUMBER.search(text)
    number = next((group for group in bare.groups() if group), "") if bare else ""
    for series in _series():
        alone = series.get("bare", True) and not series.get("in_um", False)
        if alone and number in series["sizes"]:
            return _of_series(name, series, number)
    own = text.casefold().endswith(_OWN_GRIT)
    return Stage(name, key=text.casefold(), known=bool(number) or own)


def known_names() -> list[str]:
    """Names that stages are known by: each grit of the table, and the words of polishing."""
    grits = [f"{one['prefix']}{number}" for one in _series() for number in one["sizes"]]
    return [*dict.fromkeys(grits), *abrasives_table()["polish"]["words"]]


def is_polish(name: str) -> bool:
    """Whether a stage's name is that of polishing."""
    words = abrasives_table()["polish"]["words"]
    return any(word in name.casefold() for word in words)


def check_stage(name: str) -> Stage:
    """Understand a stage; BadInput for a grain that cannot be.

    Raises
    ------
    BadInput
        If its name is empty, or the size in it lies outside 0.01 um to 2 mm.
    """
    if not name.strip():
        raise BadInput("stage: its name is empty; write a grit as '#400' or 9um, or polish")
    found, size = stage(name), _SIZE.search(name)
    size_um = found.size_um if size is None else float(size[1].replace(",", "."))
    if size_um is not None and not found.polish and not 0.01 <= size_um <= 2000:
        raise BadInput(f"stage {name!r}: no grain is {size_um:g} um in size")
    return found


def pit_factor() -> float:
    """Depth of the pits over the grain size that made them, as the table has it."""
    return float(abrasives_table()["pits"]["factor"])


def _series() -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = abrasives_table()["series"]
    return found


def _of_series(name: str, series: dict[str, Any], number: str) -> Stage:
    size_um = float(series["sizes"][number])
    source = f"{series['prefix']}{number}: {series['source']}"
    return Stage(name, False, size_um, f"{size_um:.3g} um", source)

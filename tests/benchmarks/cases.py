"""One drawn work that was read and is held against its truth: what studies of readings share."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from fringe.orders.options import ReadOptions

# in the studies' options, as in the command's: the edge is given, or to be found
EDGES = {"given": "edge given", "auto": "edge found"}


@dataclass(frozen=True)
class Case:
    """One work, drawn and read; values are NaN where it was refused.

    Power is a magnitude, errors are what was read less the truth; all in fringes, but for the
    edge's, which are shares of its radius.
    """

    kind: str
    seed: int
    edge: str
    power: float
    irregularity: float
    power_error: float = math.nan
    power_u95: float = math.nan
    irregularity_error: float = math.nan
    irregularity_u95: float = math.nan
    edge_error: float = math.nan
    edge_u: float = math.nan
    warnings: tuple[str, ...] = ()
    refused: str | None = None
    seconds: float = 0.0
    scene: dict[str, Any] = field(default_factory=dict)

    @property
    def gross(self) -> bool:
        """Off in power by more than anybody would bear, and nothing said."""
        return not self.warnings and bool(abs(self.power_error) > gross_bar(self.power))

    @property
    def beyond(self) -> bool:
        """The true power lies outside three times U, and nothing was said."""
        return not self.warnings and abs(self.power_error) > 3 * self.power_u95

    @property
    def held(self) -> bool:
        """The interval of power holds the truth."""
        return abs(self.power_error) <= self.power_u95


def gross_bar(power: Any) -> Any:
    """All but 1 in 500 are to be as near as this, or to warn [fringe]."""
    return 0.25 + 0.02 * power


def read_drawn(
    name: tuple[str, int, str],
    image: np.ndarray,
    options: ReadOptions,
    truth: tuple[float, float],
    radius_px: float,
    scene: Mapping[str, Any] | None = None,
) -> Case:
    """Read a drawn photograph.

    Parameters
    ----------
    name : tuple
        Kind, seed, and how the edge is had (a key of `EDGES`).
    image : array
        The photograph, rows first.
    options : ReadOptions
        How it is read.
    truth : tuple of float
        Its power, of either sign, and its irregularity [fringe].
    radius_px : float
        The radius of its edge, of an oval one the geometric mean.
    scene : mapping, optional
        What is to be kept of how it was drawn.
    """
    from fringe.errors import Refused
    from fringe.orders.read import read
    from fringe.photo.load import photo_from_array

    power, irregularity = abs(truth[0]), truth[1]
    known: dict[str, Any] = {"scene": dict(scene or {})}
    start = time.process_time()
    try:
        reading = read(photo_from_array(image, " ".join(map(str, name[:2]))), options)
    except Refused as refusal:
        known["refused"] = str(refusal)
    else:
        found = reading.edge
        assert found is not None
        known |= {
            "power_error": abs(reading.power_fringes or 0.0) - power,
            "power_u95": reading.power_u95_fringes or 0.0,
            "irregularity_error": (reading.irregularity_fringes or 0.0) - irregularity,
            "irregularity_u95": reading.irregularity_u95_fringes or 0.0,
            "edge_error": math.sqrt(found.a * found.b) / radius_px - 1,
            "edge_u": found.u_px / radius_px,
            "warnings": reading.quality.warnings,
        }
    return Case(*name, power, irregularity, seconds=time.process_time() - start, **known)


def line_of(case: Case) -> str:
    """One line of JSON; what does not apply is null."""
    values = {k: None if v != v else v for k, v in asdict(case).items()}
    return json.dumps(values) + "\n"


def saved(path: Path) -> list[Case]:
    """Take up again what was kept by :func:`line_of`."""
    rows = [json.loads(line) for line in path.read_text().splitlines()]
    known = [{k: v for k, v in row.items() if v is not None} for row in rows]
    return [Case(**{**row, "warnings": tuple(row["warnings"])}) for row in known]

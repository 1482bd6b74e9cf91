"""Events and results of a run of the example."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from fringe.archive.store.surface import Surface
from fringe.archive.views.judged_pair import JudgedPair
from fringe.archive.views.surface_state import SurfaceState
from fringe.demo.scenario import Scenario
from fringe.judge.advice.step import NextStep
from fringe.judge.settling.settle import Settled
from fringe.judge.spherometer.compare import SagResult
from fringe.judge.state.visits import VisitRow
from fringe.judge.tolerance.verdict import Verdict
from fringe.quantity import half_width


@dataclass(frozen=True)
class RunStatus:
    """Progress of the run.

    Attributes
    ----------
    done, total : int
        Steps.
    doing : str
        What it is at.
    """

    done: int
    total: int
    doing: str


@dataclass(frozen=True)
class Logged:
    """A visit that was just logged.

    Attributes
    ----------
    surface : Surface
    number : int
        Of the visit, from 1.
    row : VisitRow
        As in the table of progress.
    sag : SagResult or None
        What the spherometer said.
    settled : Settled or None
        Where photographs of one contact over some minutes lead.
    next_step : NextStep
        What to do now.
    """

    surface: Surface
    number: int
    row: VisitRow
    sag: SagResult | None
    settled: Settled | None
    next_step: NextStep


@dataclass(frozen=True)
class FinishedSurface:
    """A surface at the end of the run.

    Attributes
    ----------
    state : SurfaceState
        What its visits say of it.
    report, picture : Path
        Its report, and the plot of its progress.
    radius_mm, radius_u_mm : float
        Absolute radius, by the chain of contacts from the plate, with its standard
        uncertainty [mm].
    """

    state: SurfaceState
    report: Path
    picture: Path
    radius_mm: float
    radius_u_mm: float

    @property
    def surface(self) -> Surface:
        """Its record."""
        return self.state.surface

    @property
    def verdict(self) -> Verdict:
        """Of the last visit."""
        assert self.state.verdict is not None
        return self.state.verdict


@dataclass(frozen=True)
class Demo:
    """What the run left.

    Attributes
    ----------
    folder, archive, guide : Path
        The folder of it all, the archive in it, and the text that says where to begin.
    scenario : Scenario
    surfaces : tuple of FinishedSurface
        The last one was made to the one before it.
    overlays : tuple of Path
        Each photograph with the fitted fringes.
    judged_pair : JudgedPair
        Whether the last two match, by all evidence on both.
    pair_report, pair_picture : Path
        Of that match.
    """

    folder: Path
    archive: Path
    guide: Path
    scenario: Scenario
    surfaces: tuple[FinishedSurface, ...]
    overlays: tuple[Path, ...]
    judged_pair: JudgedPair
    pair_report: Path
    pair_picture: Path

    @property
    def pair(self) -> Verdict:
        """Verdict on the match."""
        assert self.judged_pair.pair.verdict is not None
        return self.judged_pair.pair.verdict

    @property
    def look_first(self) -> Path:
        """The report of the pair."""
        return self.pair_report

    def to_json(self) -> dict[str, object]:
        """Return the verdicts, and where everything is."""
        return {
            "folder": str(self.folder),
            "archive": str(self.archive),
            "guide": str(self.guide),
            "look_first": str(self.look_first),
            "pair": self._pair_json(),
            "surfaces": [_made_json(one) for one in self.surfaces],
            "overlays": [str(path) for path in self.overlays],
        }

    def _pair_json(self) -> dict[str, object]:
        found = self.judged_pair.pair
        return {
            **self.pair.to_json(),
            "mismatch_mm": found.mismatch_mm,
            "mismatch_u95_mm": half_width(found.u_mismatch_mm),
            "power_fringes": found.power_fringes,
            "power_u95_fringes": half_width(found.u_power_fringes),
            "next_step": self.judged_pair.step.action,
            "report": str(self.pair_report),
            "picture": str(self.pair_picture),
        }


def _made_json(made: FinishedSurface) -> Mapping[str, object]:
    return {
        "name": made.surface.name,
        "folder": str(made.surface.folder),
        "tolerance": made.surface.tolerance.to_json(),
        "plate": made.surface.plate.name,
        "verdict": made.verdict.to_json(),
        "next_step": made.state.next_step.to_json(),
        "radius_mm": made.radius_mm,
        "radius_u95_mm": half_width(made.radius_u_mm),
        "wavelength_nm": made.state.wavelength_nm,
        "visits": [row.to_json() for row in made.state.rows],
        "report": str(made.report),
        "progress_picture": str(made.picture),
    }

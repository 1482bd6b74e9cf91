"""The result of a comparison on the spherometer, in numbers and in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fringe.format import figures, plus_minus
from fringe.judge.uncertainty.budget import Budget


@dataclass(frozen=True)
class SagResult:
    """What the readings say.

    Attributes
    ----------
    form : {'convex', 'concave'}
        Form of the work.
    method : {'plate', 'ring', 'reading'}
        Where the circle of contact comes from; `reading`: it is not known.
    plate_sagitta_um, work_sagitta_um : float
        Readings from the zero [um].
    target_um : float
        Reading that the work would have at the plate's radius [um].
    depth_um : Budget
        The work's reading minus its target [um]; positive: the work is too deep.
    work_radius_mm, plate_radius_mm, radius_difference_mm : Budget or None
        Radii and R_work - R_plate [mm]; None where nothing gives a size.
    power_fringes : Budget or None
        Power that the radius difference means over the aperture [fringe].
    equal_readings_mm : float
        Radius difference that equal readings on both would mean [mm]; zero for points.
    notes : tuple of str
        What the person should know.
    """

    form: str
    method: str
    plate_sagitta_um: float
    work_sagitta_um: float
    target_um: float
    depth_um: Budget
    work_radius_mm: Budget | None = None
    plate_radius_mm: Budget | None = None
    radius_difference_mm: Budget | None = None
    power_fringes: Budget | None = None
    equal_readings_mm: float = 0.0
    notes: tuple[str, ...] = ()

    @property
    def state(self) -> str:
        """`too deep`, `too shallow`, or `equal` within the 95 % interval."""
        if abs(self.depth_um.value) <= self.depth_um.u95:
            return "equal"
        return "too deep" if self.depth_um.value > 0 else "too shallow"

    def to_json(self) -> dict[str, object]:
        """Return the values with their 95 % half-widths, under the names of the attributes."""
        values: dict[str, Any] = {
            "form": self.form,
            "method": self.method,
            "plate_sagitta_um": self.plate_sagitta_um,
            "work_sagitta_um": self.work_sagitta_um,
            "target_work_sagitta_um": self.target_um,
            "state": self.state,
        }
        for name, unit, budget in (
            ("depth_difference", "um", self.depth_um),
            ("work_radius", "mm", self.work_radius_mm),
            ("plate_radius", "mm", self.plate_radius_mm),
            ("radius_difference", "mm", self.radius_difference_mm),
            ("power", "fringes", self.power_fringes),
        ):
            values[f"{name}_{unit}"] = budget.value if budget else None
            values[f"{name}_u95_{unit}"] = budget.u95 if budget else None
        values["equal_readings_radius_difference_mm"] = self.equal_readings_mm
        values["notes"] = list(self.notes)
        return values


def trap_text(result: SagResult) -> str | None:
    """Say why equal readings are not equal radii here; None where they are."""
    if result.equal_readings_mm == 0:
        return None
    larger = "larger" if result.equal_readings_mm > 0 else "smaller"
    return (
        f"equal readings would not be equal radii: the work's would be "
        f"{figures(abs(result.equal_readings_mm), 4)} mm {larger}; "
        f"at the plate's radius it reads {figures(result.target_um, 6)} µm"
    )


def text_of(result: SagResult) -> str:
    """The answer in one line."""
    if result.state == "equal":
        shown = plus_minus(result.depth_um.value, result.depth_um.u95, "µm", signed=True)
        return f"The work equals the plate within the spherometer's reach: {shown}"
    shown = plus_minus(abs(result.depth_um.value), result.depth_um.u95, "µm")
    return f"The work is {result.state} by {shown}"

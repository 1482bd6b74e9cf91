"""Readings of a spherometer as typed, and the standard uncertainty of a single one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fringe.optics.spherometer import Spherometer
from fringe.units import TypedLength, last_digit_mm

TypedLists = Sequence[Sequence[TypedLength]]


@dataclass(frozen=True)
class TypedReadings:
    """Readings on plate, work and flat, each with its text.

    Attributes
    ----------
    plate, work, zero : tuple of TypedLength
        Empty where there are none.
    """

    plate: tuple[TypedLength, ...] = ()
    work: tuple[TypedLength, ...] = ()
    zero: tuple[TypedLength, ...] = ()

    @classmethod
    def of(cls, plate: TypedLists, work: TypedLists, zero: TypedLists) -> TypedReadings:
        """Join the lists of options that were given more than once."""
        return cls(*(tuple(one for each in lists for one in each) for lists in (plate, work, zero)))

    @property
    def heights_mm(self) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
        """Readings on plate, work and flat without their texts [mm]."""
        plate, work, zero = (
            tuple(one.mm for one in group) for group in (self.plate, self.work, self.zero)
        )
        return plate, work, zero

    def u_mm(self, given: float | None, one: Spherometer | None) -> tuple[float, str | None]:
        """Standard uncertainty of a reading [mm], and the assumption where it was not stated.

        Parameters
        ----------
        given : float or None
            What was given for it [mm].
        one : Spherometer or None
            The spherometer, whose record may know it.
        """
        if given is not None:
            return given, None
        if one is not None and one.u_reading_mm is not None:
            return one.u_reading_mm, None
        typed = (*self.plate, *self.work, *self.zero)
        counts = [last_digit_mm(reading.text) for reading in typed]
        known = [count for count in counts if count is not None]
        if not known:
            return 0.0, None
        finest = min(known)
        return finest / math.sqrt(3), (
            f"each reading is taken as good to ±{finest * 1000:g} µm, one count of its last digit"
        )

"""Photographs of one contact over some minutes: whether the glass has settled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from fringe.archive.store.surface import Surface, find_surface
from fringe.archive.views.reading_options import stated_options
from fringe.errors import BadInput, Refused
from fringe.judge.settling.powers import SettlingPower, settling_powers
from fringe.judge.settling.settle import (
    LONGEST_MIN,
    SHARE,
    SHORTEST_MIN,
    Settled,
    settle,
    with_common,
)
from fringe.judge.settling.temperature import ThermalCheck, held_against, thermal_check
from fringe.optics.thermal import glass, glass_names
from fringe.orders.options import StatedOptions
from fringe.orders.read import read_file
from fringe.orders.reading import Reading
from fringe.parallel import read_many
from fringe.photo.arrivals import ENDINGS
from fringe.photo.when import taken_text, times_min
from fringe.units import number

LEAST = 3  # photographs that tell a curve


@dataclass(frozen=True)
class SettleRequest:
    """What is asked of the photographs, beside how each is read.

    Attributes
    ----------
    surface : str or None
        ``ARCHIVE/NAME``: plate, lamp, glass and limits are taken from its record.
    times : str or None
        Minutes of each photograph, as ``0,20,40``; else the cameras' clock.
    tolerance_power_fringes : float or None
        Power allowed; else that of the surface.
    share : float
        Share of it that a drift may still move.
    glass, thickness_mm, difference_k : str, float and float, or None
        Of the piece that was handled, and the temperature that it started off by [mm; K].
    """

    surface: str | None = None
    times: str | None = None
    tolerance_power_fringes: float | None = None
    share: float = SHARE
    glass: str | None = None
    thickness_mm: float | None = None
    difference_k: float | None = None


@dataclass(frozen=True)
class SettlingSeries:
    """Photographs of a settling piece, and where they lead.

    Attributes
    ----------
    paths : tuple of Path
        Photographs that could be read.
    minutes : tuple of float
        When each was taken [min].
    clock : {'camera', 'file', 'given'}
        By which the minutes are.
    powers : SettlingPower
        Of each.
    settled : Settled
        Where they lead.
    thermal : ThermalCheck or None
        What temperature can do to the piece, where glass and size are known.
    refused : tuple of str
        Why the other photographs were left out.
    surface_name, diameter_mm : str or None, float or None
        Of the piece [mm].
    """

    paths: tuple[Path, ...]
    minutes: tuple[float, ...]
    clock: str
    powers: SettlingPower
    settled: Settled
    thermal: ThermalCheck | None
    refused: tuple[str, ...]
    surface_name: str | None
    diameter_mm: float | None

    @property
    def when(self) -> str | None:
        """When the first one was taken, as a figure says it."""
        return taken_text(self.paths[0])

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe settle --json`."""
        powers = self.powers
        rows = zip(self.paths, self.minutes, powers.powers_fringes, powers.u_fringes, strict=True)
        return {
            **self.settled.to_json(),
            "wavelength_nm": powers.wavelength_nm,
            "sense": powers.sense,
            "clock": self.clock,
            "readings": [
                {"photo": str(path), "minutes": t, "power_fringes": p, "u_fringes": u}
                for path, t, p, u in rows
            ],
            "thermal": None if self.thermal is None else self.thermal.to_json(),
            "refused": list(self.refused),
        }


def settle_photographs(
    photos: Sequence[Path], request: SettleRequest, stated: StatedOptions
) -> SettlingSeries:
    """Read photographs of one contact, or those of a folder, and foretell where it settles.

    Raises
    ------
    BadInput
        If too few can be read, their times do not differ, or something that is said is wrong.
    """
    paths = _photographs(photos)
    surface = None if request.surface is None else find_surface(request.surface)
    minutes, clock = _minutes(paths, request.times)
    answers = read_many(paths, partial(read_file, options=stated_options(surface, stated)))
    read = [
        (path, when, one)
        for path, when, one in zip(paths, minutes, answers, strict=True)
        if not isinstance(one, Refused)
    ]
    refused = tuple(str(one) for one in answers if isinstance(one, Refused))
    if len(read) < LEAST:
        raise BadInput(f"only {len(read)} of {len(paths)} could be read: {'; '.join(refused)}")
    kept, times, readings = zip(*read, strict=True)
    powers, found, check = _settled(times, readings, surface, request, stated.diameter_mm)
    return SettlingSeries(
        kept,
        times,
        clock,
        powers,
        found,
        check,
        refused,
        surface_name=surface.name if surface else None,
        diameter_mm=surface.diameter_mm if surface else stated.diameter_mm,
    )


def _photographs(photos: Sequence[Path]) -> list[Path]:
    """Photographs as they were given, those of a folder by their names."""
    paths: list[Path] = []
    for photo in photos:
        if photo.is_dir():
            inside = sorted(p for p in photo.iterdir() if p.suffix.lower() in ENDINGS)
            paths += [p for p in inside if p.is_file() and not p.name.startswith(".")]
        else:
            paths.append(photo)
    if len(paths) < LEAST:
        raise BadInput(
            f"{len(paths)} photographs are too few for a curve; give three or more, "
            "better six over an hour"
        )
    return paths


def _minutes(paths: list[Path], text: str | None) -> tuple[list[float], str]:
    """Minutes of each photograph, and whose clock they are by."""
    if text is None:
        minutes, clock = times_min(paths)
        if len(set(minutes)) < LEAST:
            raise BadInput(
                "the photographs have no times that differ; give --times with the minutes of each"
            )
        return minutes, clock
    words = [word.strip() for word in text.replace(";", ",").split(",") if word.strip()]
    numbers = [number(word) for word in words]
    if len(numbers) != len(paths):
        raise BadInput(f"--times: {len(numbers)} times for {len(paths)} photographs")
    return numbers, "given"


def _settled(
    minutes: Sequence[float],
    readings: Sequence[Reading],
    surface: Surface | None,
    request: SettleRequest,
    diameter_mm: float | None,
) -> tuple[SettlingPower, Settled, ThermalCheck | None]:
    powers = settling_powers(readings)
    check = _thermal(surface, request, diameter_mm, powers.wavelength_nm)
    found = settle(
        minutes,
        powers.powers_fringes,
        powers.u_fringes,
        limit_fringes=_limit(surface, request, powers.wavelength_nm),
        time_constants_min=check.time_constants_min if check else (SHORTEST_MIN, LONGEST_MIN),
    )
    if check is not None:
        check = held_against(check, found, request.difference_k)
    return powers, with_common(found, powers.common_u_fringes), check


def _limit(surface: Surface | None, request: SettleRequest, wavelength_nm: float) -> float | None:
    """Change of power that does no harm, in fringes of the photographs."""
    if not 0 < request.share <= 1:
        raise BadInput("--share must be above 0 and at most 1")
    tolerance, light = request.tolerance_power_fringes, wavelength_nm
    if tolerance is None and surface is not None:
        tolerance = surface.tolerance.power_fringes
        light = surface.tolerance.wavelength_nm or wavelength_nm
    if tolerance is None:
        return None
    if tolerance <= 0:
        raise BadInput("--tolerance-power must be greater than zero")
    return request.share * tolerance * light / wavelength_nm


def _thermal(
    surface: Surface | None,
    request: SettleRequest,
    diameter_mm: float | None,
    wavelength_nm: float,
) -> ThermalCheck | None:
    name, thickness_mm = request.glass, request.thickness_mm
    if surface is not None:
        diameter_mm = diameter_mm or surface.diameter_mm
        known = (surface.glass or "").strip().lower() in glass_names()
        name = name or (surface.glass if known else None)
    if name is None or thickness_mm is None or diameter_mm is None:
        if request.glass is not None and (thickness_mm is None or diameter_mm is None):
            raise BadInput("--glass needs --thickness and --diameter beside it")
        return None
    return thermal_check(glass(name), thickness_mm, diameter_mm, wavelength_nm)

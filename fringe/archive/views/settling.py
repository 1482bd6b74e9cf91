"""Readings of one contact over some minutes: whether the glass has settled."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from fringe.archive.store.surface import Surface, find_surface
from fringe.archive.views.last_time import with_last_camera
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
from fringe.orders.asked import read_by_eye
from fringe.orders.options import ReadOptions, StatedOptions
from fringe.orders.read import read_file
from fringe.orders.reading import Reading
from fringe.parallel import read_many
from fringe.photo.arrivals import photographs_in
from fringe.photo.when import taken_text, times_min
from fringe.units import number

LEAST = 3  # readings that tell a curve


@dataclass(frozen=True)
class SettleRequest:
    """What is asked, beside how each photograph is read.

    Attributes
    ----------
    surface : str or None
        ``ARCHIVE/NAME``: plate, lamp, glass and limits are taken from its record.
    archive : Path or None
        Where lamps and cameras are on record; else the surface's archive.
    times : str or None
        Minutes of each reading, as ``0,20,40``; else the cameras' clock.
    by_eye : tuple of str
        What was seen without a camera, in the words of :func:`fringe.orders.by_eye.by_eye`.
    tolerance_power_fringes : float or None
        Power allowed; else that of the surface.
    share : float
        Share of it that a drift may still move.
    glass, thickness_mm, difference_k : str, float and float, or None
        Of the piece that was handled, and the temperature that it started off by [mm; K].
    """

    surface: str | None = None
    archive: Path | None = None
    times: str | None = None
    by_eye: tuple[str, ...] = ()
    tolerance_power_fringes: float | None = None
    share: float = SHARE
    glass: str | None = None
    thickness_mm: float | None = None
    difference_k: float | None = None


@dataclass(frozen=True)
class SettlingSeries:
    """Readings of a settling piece, and where they lead.

    Attributes
    ----------
    paths : tuple of Path
        Photographs that could be read; none by eye.
    by_eye : tuple of str
        What was seen without a camera; none of photographs.
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
    by_eye: tuple[str, ...]
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
        """When the first photograph was taken, as a figure says it."""
        return taken_text(self.paths[0]) if self.paths else None

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe settle --json`."""
        powers = self.powers
        key, names = ("by_eye", self.by_eye) if self.by_eye else ("photo", self.paths)
        rows = zip(names, self.minutes, powers.powers_fringes, powers.u_fringes, strict=True)
        return {
            **self.settled.to_json(),
            "wavelength_nm": powers.wavelength_nm,
            "sense": powers.sense,
            "clock": self.clock,
            "readings": [
                {key: str(name), "minutes": t, "power_fringes": p, "u_fringes": u}
                for name, t, p, u in rows
            ],
            "thermal": None if self.thermal is None else self.thermal.to_json(),
            "refused": list(self.refused),
        }


@dataclass(frozen=True)
class _Taken:
    """Readings, the minutes of each and whose clock these are by, and what was left out."""

    readings: tuple[Reading, ...]
    minutes: tuple[float, ...]
    clock: str
    paths: tuple[Path, ...] = ()
    refused: tuple[str, ...] = ()


def settle_series(
    photos: Sequence[Path], request: SettleRequest, stated: StatedOptions
) -> SettlingSeries:
    """Read photographs of one contact, or what was seen by eye, and foretell where it settles.

    Raises
    ------
    BadInput
        If too few can be read, their times do not differ, or something that is said is wrong.
    """
    if photos and request.by_eye:
        raise BadInput("photographs and --by-eye at once: give either")
    surface = None if request.surface is None else find_surface(request.surface)
    if surface is not None and photos:
        stated = with_last_camera(surface, stated)
    options = partial(stated_options, surface, stated, request.archive)
    if request.by_eye:
        taken = _seen(request, options())
    else:
        taken = _photographed(photos, request.times, options)
    powers, found, check = _settled(
        taken.minutes, taken.readings, surface, request, stated.aperture_mm
    )
    return SettlingSeries(
        taken.paths,
        request.by_eye,
        taken.minutes,
        taken.clock,
        powers,
        found,
        check,
        taken.refused,
        surface_name=surface.name if surface else None,
        diameter_mm=surface.diameter_mm if surface else stated.aperture_mm,
    )


def _seen(request: SettleRequest, options: ReadOptions) -> _Taken:
    """Readings by eye, which have no clock but what is said."""
    texts = request.by_eye
    if len(texts) < LEAST:
        raise BadInput(_too_few(len(texts), "readings by eye"))
    if request.times is None:
        raise BadInput("--by-eye has no clock: give --times with the minutes of each")
    minutes = _told_minutes(request.times, len(texts), "readings by eye")
    readings = tuple(read_by_eye(text, options).reading for text in texts)
    return _Taken(readings, minutes, "given")


def _photographed(
    photos: Sequence[Path], times: str | None, options: Callable[[], ReadOptions]
) -> _Taken:
    """Readings of photographs; the ones that cannot be read are left out."""
    paths = _photographs(photos)
    minutes, clock = _minutes(paths, times)
    answers = read_many(paths, partial(read_file, options=options()))
    read = [
        (path, when, one)
        for path, when, one in zip(paths, minutes, answers, strict=True)
        if not isinstance(one, Refused)
    ]
    refused = tuple(str(one) for one in answers if isinstance(one, Refused))
    if len(read) < LEAST:
        raise BadInput(f"only {len(read)} of {len(paths)} could be read: {'; '.join(refused)}")
    kept, taken, readings = zip(*read, strict=True)
    return _Taken(readings, taken, clock, kept, refused)


def _photographs(photos: Sequence[Path]) -> list[Path]:
    """Photographs as they were given, those of a folder by their names."""
    paths: list[Path] = []
    for photo in photos:
        if photo.is_dir():
            paths += photographs_in(photo)
        else:
            paths.append(photo)
    if len(paths) < LEAST:
        raise BadInput(_too_few(len(paths), "photographs"))
    return paths


def _too_few(count: int, what: str) -> str:
    if not count:
        return "give three photographs or more, or what was seen with --by-eye and --times"
    return f"{count} {what} are too few for a curve; give three or more, better six over an hour"


def _minutes(paths: list[Path], text: str | None) -> tuple[Sequence[float], str]:
    """Minutes of each photograph, and whose clock they are by."""
    if text is None:
        minutes, clock = times_min(paths)
        if len(set(minutes)) < LEAST:
            raise BadInput(
                "the photographs have no times that differ; give --times with the minutes of each"
            )
        return minutes, clock
    return _told_minutes(text, len(paths), "photographs"), "given"


def _told_minutes(text: str, count: int, what: str) -> tuple[float, ...]:
    """Minutes as they were typed, one for each reading."""
    words = [word.strip() for word in text.replace(";", ",").split(",") if word.strip()]
    if len(words) != count:
        raise BadInput(f"--times: {len(words)} times for {count} {what}")
    return tuple(number(word) for word in words)


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
    """Change of power that does no harm, in fringes of the readings' light."""
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

"""The example's file: instruments, surfaces, visits, and separately the truth."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

from fringe.errors import BadInput
from fringe.units import positive_length_mm

FILE = "scenario.toml"
PHOTOGRAPHS = "photographs"
PAIR = "pair"  # a tolerance that the system sets


@dataclass(frozen=True)
class PhotographSpec:
    """A photograph of a visit.

    Attributes
    ----------
    file : str
        Its name in the folder of photographs.
    tilt, tilt_angle : float
        How the work leaned: edge to centre [fringe], and toward which side [degree].
    seed : int
        Of the camera's noise; a visit's first one, of dust and light too.
    after_minutes : float
        Since the work was laid on the plate [min].
    edge : tuple of 3 float, or None
        Centre and radius of the work's edge, where the person read it off by hand [px].
    """

    file: str
    tilt: float
    tilt_angle: float
    seed: int
    after_minutes: float = 0.0
    edge: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class Truth:
    """What the glass really was at a visit; reading never sees it.

    Attributes
    ----------
    radius_mm : float
        Radius of the work, settled [mm].
    form : mapping
        Errors of form, by the names of `fringe.synth.request.Request` [fringe].
    warm_fringes, warm_minutes : float
        Power that warmth adds at first, and its time constant [fringe, min].
    """

    radius_mm: float
    form: Mapping[str, float] = field(default_factory=dict)
    warm_fringes: float = 0.0
    warm_minutes: float = 1.0


@dataclass(frozen=True)
class VisitSpec:
    """One visit as it was written down; None and empty where it does not apply.

    Attributes
    ----------
    when : datetime
        With its time zone.
    stage, on_top, minutes
        Work since the visit before.
    pits : str or None
        What a loupe said of the pits of the grits before: `gone` or `left`.
    rested : float or None
        Minutes since the lap, when it was read.
    temperature_c : float or None
    remark : str or None
    lamp : str or None
        Where it was not the surface's usual one.
    sense : str
        `centre` or `edge` where the person found it, else `auto`.
    plate_mm, work_mm : tuple of float
        Spherometer readings [mm].
    photographs : tuple of PhotographSpec
    truth : Truth
    """

    when: datetime
    truth: Truth
    stage: str | None = None
    minutes: float | None = None
    on_top: str | None = None
    pits: str | None = None
    rested: float | None = None
    temperature_c: float | None = None
    remark: str | None = None
    lamp: str | None = None
    sense: str = "auto"
    plate_mm: tuple[float, ...] = ()
    work_mm: tuple[float, ...] = ()
    photographs: tuple[PhotographSpec, ...] = ()


@dataclass(frozen=True)
class SurfaceSpec:
    """A surface and its visits.

    Attributes
    ----------
    name, form, lamp, glass, note : str
    radius_mm, diameter_mm : float
    against : str
        Name of the plate, or of an earlier surface of the scenario.
    tolerance_power : float or None
        [fringe]; None where the system sets it.
    tolerance_irregularity : float
        [fringe]
    visits : tuple of VisitSpec
    """

    name: str
    form: str
    radius_mm: float
    diameter_mm: float
    against: str
    lamp: str
    glass: str
    note: str
    tolerance_power: float | None
    tolerance_irregularity: float
    visits: tuple[VisitSpec, ...]


@dataclass(frozen=True)
class Scenario:
    """The whole example.

    Attributes
    ----------
    folder : Path
        Where its files lie.
    name, about, archive : str
    system : Path
        The system's file, which allows the pair its mismatch.
    plate, spherometer : mapping
        Fields of the instruments' records.
    plate_name, spherometer_name, camera_name : str
    camera_distance_mm : float
    plate_true_radius_mm : float
        What the certificate cannot know [mm].
    surfaces : tuple of SurfaceSpec
        The last two are the pair.
    """

    folder: Path
    name: str
    about: str
    archive: str
    system: Path
    plate_name: str
    plate: Mapping[str, Any]
    plate_true_radius_mm: float
    spherometer_name: str
    spherometer: Mapping[str, Any]
    camera_name: str
    camera_distance_mm: float
    surfaces: tuple[SurfaceSpec, ...]

    @property
    def photographs(self) -> int:
        """Number of all photographs."""
        return sum(len(visit.photographs) for one in self.surfaces for visit in one.visits)

    def photograph(self, spec: PhotographSpec) -> Path:
        """Where a photograph lies."""
        return self.folder / PHOTOGRAPHS / spec.file

    def true_plate_radius_mm(self, surface: SurfaceSpec) -> float:
        """Radius of what a surface is laid on, as it really was [mm]."""
        if surface.against == self.plate_name:
            return self.plate_true_radius_mm
        other = next(one for one in self.surfaces if one.name == surface.against)
        return other.visits[-1].truth.radius_mm


def example_folder() -> Path:
    """Folder of the shipped scenario, wherever it is installed."""
    return Path(str(files("fringe.examples")))


def load_scenario(path: Path | None = None) -> Scenario:
    """Read a scenario's file.

    Parameters
    ----------
    path : Path or None
        None takes the shipped one.

    Raises
    ------
    BadInput
        If it cannot be read, or something in it is missing or makes no sense.
    """
    import tomllib

    path = example_folder() / FILE if path is None else path
    try:
        values = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"{path}: no TOML: {error}") from error
    try:
        return _scenario(path.parent, values)
    except KeyError as error:
        raise BadInput(f"{path}: {error.args[0]} is missing") from error
    except (TypeError, ValueError, AttributeError) as error:
        raise BadInput(f"{path}: {error}") from error


def _scenario(folder: Path, values: Mapping[str, Any]) -> Scenario:
    plate, spherometer, camera = values["plate"], values["spherometer"], values["camera"]
    return Scenario(
        folder=folder,
        name=values["name"],
        about=values["about"],
        archive=values["archive"],
        system=folder / values["system"],
        plate_name=plate["name"],
        plate={
            "form": plate["form"],
            "radius_mm": _mm(plate, "radius"),
            "u_radius_mm": _mm(plate, "radius_u"),
            "diameter_mm": _mm(plate, "diameter"),
            "thickness_mm": _mm(plate, "thickness"),
            "glass": plate["glass"],
            "how_known": plate["how_known"],
        },
        plate_true_radius_mm=_mm(plate["truth"], "radius"),
        spherometer_name=spherometer["name"],
        spherometer={
            "foot_circle_mm": _mm(spherometer, "foot_circle"),
            "ball_diameter_mm": _mm(spherometer, "ball"),
            "u_size_mm": _mm(spherometer, "size_u"),
            "u_ball_diameter_mm": _mm(spherometer, "ball_u"),
            "u_reading_um": _mm(spherometer, "reading_u") * 1000,
        },
        camera_name=camera["name"],
        camera_distance_mm=_mm(camera, "distance"),
        surfaces=tuple(_surface(one) for one in values["surface"]),
    )


def _surface(values: Mapping[str, Any]) -> SurfaceSpec:
    power = values["tolerance_power"]
    return SurfaceSpec(
        name=values["name"],
        form=values["form"],
        radius_mm=_mm(values, "radius"),
        diameter_mm=_mm(values, "diameter"),
        against=values["against"],
        lamp=values["lamp"],
        glass=values["glass"],
        note=values["note"],
        tolerance_power=None if power == PAIR else float(power),
        tolerance_irregularity=float(values["tolerance_irregularity"]),
        visits=tuple(_visit(one) for one in values["visit"]),
    )


def _visit(values: Mapping[str, Any]) -> VisitSpec:
    return VisitSpec(
        when=datetime.fromisoformat(values["when"]),
        truth=_truth(values["truth"]),
        stage=values.get("stage"),
        minutes=values.get("minutes"),
        on_top=values.get("on_top"),
        pits=values.get("pits"),
        rested=values.get("rested"),
        temperature_c=values.get("temperature"),
        remark=values.get("remark"),
        lamp=values.get("lamp"),
        sense=values.get("sense", "auto"),
        plate_mm=_lengths_mm(values.get("plate_readings")),
        work_mm=_lengths_mm(values.get("work_readings")),
        photographs=tuple(PhotographSpec(**one) for one in values.get("photographs", ())),
    )


def _truth(values: Mapping[str, Any]) -> Truth:
    form = dict(values)
    radius = _mm(form, "radius")
    form.pop("radius")
    warm = {key: form.pop(key) for key in ("warm_fringes", "warm_minutes") if key in form}
    return Truth(radius, form, **warm)


def _mm(values: Mapping[str, Any], key: str) -> float:
    return positive_length_mm(values[key], key)


def _lengths_mm(text: str | None) -> tuple[float, ...]:
    """Lengths in a row, as `804.3um,804.8um`, in mm."""
    words = [] if text is None else re.split(r"(?<=\D),", text)
    return tuple(positive_length_mm(word, "spherometer reading") for word in words)

"""Surfaces and visits for tests: full ones that use every field, and plain ones."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from fringe.archive.store.session import LoggedReading, LoggedSpherometer, Photograph, Visit
from fringe.archive.store.surface import Plate, Surface, add_surface
from fringe.archive.views.photographs import logged
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.measured import Measured
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.lamps import lamp
from fringe.orders.gap_map import GapMap
from fringe.orders.options import ReadOptions
from fringe.orders.reading import FormFit, Quality, Reading, RingFit
from fringe.photo.ellipse import Edge
from fringe.quantity import Source, half_width

START = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)


def hours(count: float) -> datetime:
    """The time so many hours after the first visit."""
    return START + timedelta(hours=count)


FULL_TOLERANCE = Tolerance(2.0, 0.3, 1.5, 589.29, "guard95")
# readings of a spherometer as `fringe log` takes them: a work too shallow by 15 um
SAGS = ("--sag-plate", "808um,808um", "--sag-work", "793um", "--zero", "0um")
FRINGES_ALONE = Tolerance(2.0, 0.3, wavelength_nm=589.29)


def full_surface(
    archive: Path,
    name: str = "concave 1",
    tolerance: Tolerance = FULL_TOLERANCE,
    chamfer_mm: float | None = None,
) -> Surface:
    """Add a surface with every field of its record; a chamfer only where it is asked for."""
    surface = Surface(
        name,
        "concave",
        radius_mm=3048.0,
        diameter_mm=150.0,
        radius_u_mm=0.5,
        chamfer_mm=chamfer_mm,
        plate=Plate("plate 7", 3048.6, 0.2),
        tolerance=tolerance,
        lamp="sodium",
        glass="borosilicate",
        note="second of the pair",
        watches="/photographs/incoming",
        as_typed="--radius 3048 +- 1 mm (k=2); --plate-radius 3048.6 +- 0.4 mm (k=2)",
    )
    return add_surface(archive, surface, now=START)


def full_reading(rng: np.random.Generator) -> LoggedReading:
    """A reading with a value in every field."""
    terms = ((0, 0), (1, -1), (1, 1), (2, -2), (2, 0), (2, 2), (4, 0))
    spread = rng.normal(size=(len(terms), len(terms)))
    orders = np.arange(3.0, 9.0)
    reading = Reading(
        wavelength_nm=589.29,
        quality=Quality(*rng.uniform(0, 1, 3).tolist(), ("dust near the rim", "λ: two lines")),
        power_fringes=-float(rng.uniform(3, 4)),
        power_u95_fringes=half_width(math.hypot(0.021, 0.013)),
        sense="edge",
        sense_source="contrast",
        tilt_fringes=float(rng.normal()),
        astigmatism_fringes=float(rng.uniform()),
        astigmatism_u95_fringes=0.03,
        irregularity_fringes=float(rng.uniform()),
        irregularity_u95_fringes=0.04,
        symmetric_irregularity_fringes=float(rng.uniform()),
        symmetric_irregularity_u95_fringes=0.02,
        rms_irregularity_fringes=float(rng.uniform()),
        rms_irregularity_u95_fringes=0.01,
        iso10110="3/ 3.5(0.3/0.1); λ = 589.3 nm",
        rings=7,
        ring_step_px2=float(rng.uniform(1e3, 1e5)),
        ring_step_u95_px2=float(rng.uniform(1, 9)),
        effective_radius_mm=float(rng.uniform(1e5, 1e7)),
        radius_difference_mm=float(rng.normal()),
        radius_difference_u95_mm=float(rng.uniform()),
        edge=Edge(*rng.uniform(900, 1000, 3).tolist(), b=880.5, angle_deg=17.0, u_px=0.3),
        edge_source="found",
        form=FormFit(terms, rng.normal(size=len(terms)), spread @ spread.T),
        ring_fit=RingFit(*rng.uniform(1, 1000, 5).tolist(), orders, np.sqrt(orders) * 100),
        power_u_parts={"fit": 0.021, "edge": 0.013},
        plate_map="no 7, 2026-03-14",
        plate_map_shares={"irregularity": 0.25, "rms_irregularity": 0.3},
        reading_id=f"photograph {rng.integers(1 << 30)}",
        lamp="sodium",
        u_wavelength_nm=lamp("sodium").u_wavelength_nm,
        frames=6,
        steps_fringes=(0.0, 0.25, -0.4, -0.125, 0.1, 0.375),
    )
    places = np.linspace(-75.0, 75.0, 33)
    gap = rng.uniform(0, 1e4, (33, 33)).astype(np.float32)
    gap[0, 0] = np.nan
    return LoggedReading(
        reading=reading,
        photographs=(2, 1),
        lamp=lamp("sodium"),
        options={"edge": "auto", "camera_distance_mm": 900.0},
        gap=GapMap(places, places[::-1].copy(), gap, "mm"),
        against="convex 1",
        aperture_mm=80.0,
        place_mm=(30.0, -12.5),
    )


def full_visit(rng: np.random.Generator) -> Visit:
    """A visit with a value in every field, and everything that can be repeated twice."""
    sphero = LoggedSpherometer(
        piece="work",
        height_mm=rng.normal(size=5),
        zero_mm=rng.normal(size=3),
        geometry={"kind": "three balls", "circle_radius_mm": 50.0},
        options={"mean": "of five"},
        radius_mm=3049.1,
        radius_u_mm=1.2,
        measured=Measured(
            power_fringes=-12.5,
            power_u_fringes=4.0,
            sense="edge",
            radius_difference_mm=1.4,
            radius_difference_u_mm=0.5,
            wavelength_nm=589.29,
            dof=6.0,
            source="spherometer",
            power_parts=(
                (Source("plate_radius", "spherometer"), -3.2),
                (Source("repeatability", "spherometer"), 2.4),
            ),
        ),
    )
    return Visit(
        when=hours(-0.5),
        by="the second shift",
        remarks="a scratch near the rim\nsecond line, größer als λ/10",
        work=Work(
            "polish",
            42.5,
            "tool",
            "a third, centre over centre",
            "pitch, 120 mm",
            "4 kg",
            "cerium oxide, thin",
            0.0021,
            "gone",
            90.5,
        ),
        temperature_c=20.4,
        readings=(full_reading(rng), full_reading(rng)),
        photographs=(
            Photograph("rings ä.jpg", rng.bytes(70_001), "image/jpeg"),
            Photograph("dim.tif", bytes(50_000), "image/tiff", refusal="no fringes to be seen"),
        ),
        spherometers=(sphero, sphero),
        inputs={"edge": "auto", "photographs": ["/bench/rings ä.jpg"]},
        instruments={"spherometer": {"name": "three balls", "foot_circle_mm": 100.0}},
    )


def power_reading(
    power: float, u95: float = 0.1, sense: str = "centre", wavelength_nm: float = 589.29
) -> LoggedReading:
    """A reading of power alone, with a form that has this power and a little irregularity."""
    form = FormFit(
        ((0, 0), (2, 0), (4, 0)),
        np.array([power / 2, power / 2, 0.05]),
        np.diag([1e-4, (u95 / 4) ** 2, 1e-6]),
    )
    reading = Reading(
        wavelength_nm,
        Quality(0.6, 0.9, 0.05),
        power_fringes=power,
        power_u95_fringes=u95,
        sense=sense,
        irregularity_fringes=0.1,
        irregularity_u95_fringes=0.004,
        form=form,
    )
    return logged(reading, (), ReadOptions(lamp("sodium"), diameter_mm=150.0))


def plain_visit(remark: str = "looked at it") -> Visit:
    """The least that can be logged."""
    return Visit(remarks=remark)

"""Names, units and limits that the writer and the reader of a session share."""

from __future__ import annotations

import re
from dataclasses import dataclass

SCHEMA = "fringe session"
SCHEMA_VERSION = 1
SUFFIX = ".h5"
SESSION_FILE = re.compile(r"^(\d{4,})_\d{8}T\d{6}Z_[0-9a-z]{6}\.h5$")
CLAIM_FILE = re.compile(r"^\.(\d{4,})\.partial$")
BENCH_FOLDER = ".bench"  # of an archive: what the bench page keeps that is not logged yet
MISSING = -1  # a whole number that does not apply

# HDF5 1.10 of 2016 is the oldest that keeps a checksum over where a variable's values lie, too:
# in older files one flipped bit there makes them look as if they had never been written.
LIBVER = ("v110", "v110")

# Far above what a bench makes, far below what would exhaust a machine.
MAX_GROUPS = 500
MAX_TEXT_BYTES = 4_000_000
MAX_ARRAY_BYTES = 1 << 28
MAX_PHOTOGRAPH_BYTES = 1 << 30
MAX_CONTENT_BYTES = 1 << 28  # of all variables but the photographs
MAX_VALUE = 1e9  # no length, power or time of a visit is larger, in any of its units

SENSES = ("unknown", "centre", "edge")


@dataclass(frozen=True)
class Column:
    """One variable over the readings.

    Attributes
    ----------
    name : str
        Name of the variable.
    units : str
        Its `units` attribute.
    long_name : str
        What it is, for a person.
    whole : bool
        Whole numbers, with -1 where they do not apply, instead of NaN.
    field : str
        Name of the field that it holds; empty where that is the variable's name.
    """

    name: str
    units: str
    long_name: str
    whole: bool = False
    field: str = ""


# Columns with the names of `Reading`'s own fields.
READING_COLUMNS = (
    Column("wavelength_nm", "nm", "wavelength in air that the fringes are counted in"),
    Column("power_fringes", "1", "power, positive with the contact at the centre"),
    Column("power_u95_fringes", "1", "half-width of power's 95 % interval"),
    Column("tilt_fringes", "1", "tilt from edge to centre"),
    Column("astigmatism_fringes", "1", "astigmatism, peak to valley"),
    Column("astigmatism_u95_fringes", "1", "half-width of its 95 % interval"),
    Column("irregularity_fringes", "1", "irregularity, peak to valley"),
    Column("irregularity_u95_fringes", "1", "half-width of irregularity's 95 % interval"),
    Column("symmetric_irregularity_fringes", "1", "rotationally symmetric irregularity"),
    Column("symmetric_irregularity_u95_fringes", "1", "half-width of its 95 % interval"),
    Column("rms_irregularity_fringes", "1", "irregularity, root mean square"),
    Column("rms_irregularity_u95_fringes", "1", "half-width of its 95 % interval"),
    Column("rings", "1", "whole dark rings crossed", whole=True),
    Column("ring_step_px2", "pixel2", "growth of the squared ring radius a ring"),
    Column("ring_step_u95_px2", "pixel2", "half-width of the ring step's 95 % interval"),
    Column("effective_radius_mm", "mm", "radius of the sphere with the same gap on a flat"),
    Column("radius_difference_mm", "mm", "radius of the work less that of the plate"),
    Column("radius_difference_u95_mm", "mm", "half-width of its 95 % interval"),
    Column("frames", "1", "frames of a burst that were solved together", whole=True),
)
EDGE_COLUMNS = (
    Column("edge_cx_px", "pixel", "centre of the edge, x", field="cx"),
    Column("edge_cy_px", "pixel", "centre of the edge, y, downwards", field="cy"),
    Column("edge_a_px", "pixel", "longer semi-axis of the edge", field="a"),
    Column("edge_b_px", "pixel", "shorter semi-axis of the edge", field="b"),
    Column(
        "edge_angle_deg",
        "degree",
        "direction of the longer semi-axis from +x toward +y",
        field="angle_deg",
    ),
    Column("edge_u_px", "pixel", "standard uncertainty of the semi-axes", field="u_px"),
)
QUALITY_COLUMNS = (
    Column("contrast", "1", "median fringe contrast"),
    Column("used_fraction", "1", "share of the aperture that was used"),
    Column("residual", "1", "what the fit leaves, as a share of the fringe amplitude"),
)
METHOD = Column("method", "1", "how the reading was made", whole=True)
SENSE = Column("sense", "1", "where work and plate touch", whole=True)
# What a list of visits needs.
SUMMARY_COLUMNS = (
    METHOD,
    SENSE,
    *(column for column in QUALITY_COLUMNS if column.name == "used_fraction"),
    *(
        column
        for column in READING_COLUMNS
        if column.name
        in (
            "wavelength_nm",
            "power_fringes",
            "power_u95_fringes",
            "irregularity_fringes",
            "irregularity_u95_fringes",
            "radius_difference_mm",
            "radius_difference_u95_mm",
        )
    ),
)

READING_TEXTS = ("sense_source", "iso10110", "edge_source")
LAMP_TEXTS = ("name", "source", "trust", "note")
# What a spherometer's comparison of work and plate says, by the names of `Measured`.
SPHEROMETER_NUMBERS = (
    "power_fringes",
    "power_u_fringes",
    "radius_difference_mm",
    "radius_difference_u_mm",
    "wavelength_nm",
    "dof",
)
WORK_TEXTS = ("stage", "on_top", "stroke", "lap", "pressure", "slurry", "pits", "parts")
WORK_NUMBERS = ("minutes", "removed_mm", "rested_minutes")

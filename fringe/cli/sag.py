"""`fringe sag`: plate and work on a spherometer."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._bench import (
    LENGTHS,
    NUMBER,
    SAGITTAS,
    flat,
    light_options,
    line,
    remark,
    wavelength_nm,
)
from fringe.cli._options import LENGTH, json_option, print_json
from fringe.cli._sagitta import reading_u as assumed_u
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.judge.spherometer.compare import SagResult
    from fringe.judge.spherometer.reach import Reach
    from fringe.judge.uncertainty.budget import Budget
    from fringe.optics.lamps import Lamp
    from fringe.optics.spherometer import Spherometer

TRIALS = 50_000  # draws of the check that --budget makes


@click.command("sag", short_help="Compare plate and work on a spherometer.")
@click.option(
    "--plate",
    type=SAGITTAS,
    multiple=True,
    required=True,
    metavar="L,...",
    help="Readings on the plate.",
)
@click.option(
    "--work",
    type=SAGITTAS,
    multiple=True,
    required=True,
    metavar="L,...",
    help="Readings on the work.",
)
@click.option(
    "--zero",
    type=SAGITTAS,
    multiple=True,
    metavar="L,...",
    help="Readings on a flat; without it the gauge was set to zero there.",
)
@click.option(
    "--form",
    type=click.Choice(["convex", "concave"]),
    default="convex",
    show_default=True,
    help="Form of the work.",
)
@click.option("--ring", type=LENGTHS, metavar="L[,L]", help="Plain ring: inner, outer diameter.")
@click.option("--legs", type=LENGTHS, metavar="L[,L,L]", help="Three legs: their spacing.")
@click.option("--foot-circle", type=LENGTH, metavar="L", help="Feet on a circle this wide.")
@click.option("--ball", type=LENGTH, metavar="L", help="Ball feet of this diameter; else points.")
@click.option("--size-u", type=LENGTH, metavar="L", help="Standard uncertainty of that size.")
@click.option("--ball-u", type=LENGTH, metavar="L", help="Standard uncertainty of the balls.")
@click.option(
    "--reading-u",
    type=LENGTH,
    metavar="L",
    help="Standard uncertainty of a reading; else one count of its digits.",
)
@click.option("--plate-radius", type=LENGTH, metavar="L", help="Radius of the plate.")
@click.option("--plate-radius-u", type=LENGTH, metavar="L", help="Its standard uncertainty.")
@click.option("--diameter", type=LENGTH, metavar="L", help="Aperture, for the gap in fringes.")
@light_options
@click.option("--scale", type=NUMBER, metavar="PX_PER_MM", help="Camera: pixels a millimetre.")
@click.option(
    "--archive",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Archive with the records that the next three name.",
)
@click.option("--spherometer", metavar="NAME", help="Spherometer on record.")
@click.option("--plate-name", metavar="NAME", help="Plate on record.")
@click.option("--camera", metavar="NAME", help="Camera on record.")
@click.option("--budget", is_flag=True, help="Show where the uncertainties come from.")
@json_option
def command(
    plate: Any,
    work: Any,
    zero: Any,
    reading_u: float | None,
    *,
    budget: bool,
    as_json: bool,
    **options: Any,
) -> None:
    """Say which is deeper, the plate or the work, by how much, and what radius the work has.

    Read plate and work in turn, and repeat. Readings may carry signs, as a gauge shows them
    on a convex and a concave piece, or none. Grind the two forms on two separate tools, not on
    each other: between two that were ground together stays the size of a grain (common
    practice). With --diameter and a lamp: the gap in fringes, and whether it is near enough
    to go on with fringes. ± is the 95 % interval.

    \b
    Example:
      fringe sag --plate 808um,807.5um --work 793um,793um --plate-radius 3048mm
      fringe sag --plate=-1.957mm --work 2.088mm --form concave --foot-circle 40mm --ball 6.35mm
      fringe sag --plate 808um --work 793um --plate-radius 120in --diameter 6in --lamp sodium
    """
    from fringe.judge.spherometer.compare import SpherometerReadings, compare
    from fringe.judge.spherometer.reach import reach

    options = _from_records(options)
    one = _spherometer(options)
    groups = [flat(group) for group in (plate, work, zero)]
    u_reading, assumed = assumed_u(groups, reading_u, one)
    plates, works, zeros = (tuple(mm for mm, _ in group) for group in groups)
    readings = SpherometerReadings(plates, works, zeros, u_reading)
    lamp = _lamp(options)
    result = compare(
        readings,
        options["form"],
        spherometer=one,
        plate_radius_mm=options["plate_radius"],
        u_plate_radius_mm=options["plate_radius_u"],
        diameter_mm=options["diameter"],
        wavelength_nm=lamp[1] if lamp else None,
        trials=TRIALS if budget else 0,
    )
    limits = _limits(lamp, options)
    near = reach(result.power_fringes, limits) if result.power_fringes and limits else None
    notes = ([assumed] if assumed else []) + list(result.notes)
    if as_json:
        print_json(_json(result, near, lamp, notes))
    else:
        rows = _text(result, near, lamp, options["diameter"], notes)
        click.echo("\n".join(rows + (_tables(result) if budget else [])))


def _from_records(options: dict[str, Any]) -> dict[str, Any]:
    """Fill in what the records of the archive know; what is given on the line stays."""
    named = ("spherometer", "plate_name", "camera")
    if options["archive"] is None:
        if any(options[key] for key in named):
            raise BadInput("instruments on record need --archive DIR, where the records lie")
        return options
    from fringe.archive.instruments import instrument_record

    filled = dict(options)
    if options["plate_name"]:
        record = instrument_record(options["archive"], "plate", options["plate_name"])
        if record["form"] == options["form"]:
            raise BadInput(
                f"the plate {options['plate_name']} is {record['form']}, so the work is of the "
                "other form: set --form"
            )
        if options["plate_radius"] is None:
            filled["plate_radius"] = record["radius_mm"]
            filled["plate_radius_u"] = options["plate_radius_u"] or record.get("u_radius_mm")
    if options["camera"] and options["scale"] is None:
        record = instrument_record(options["archive"], "camera", options["camera"])
        filled["scale"] = record.get("scale_px_per_mm")
    return filled


def _spherometer(options: dict[str, Any]) -> Spherometer | None:
    """Build the spherometer from the line or from its record."""
    shape = [key for key in ("ring", "legs", "foot_circle") if options[key]]
    if options["spherometer"]:
        if shape or any(options[key] for key in ("ball", "size_u", "ball_u")):
            raise BadInput("--spherometer brings its own size; leave the size options out")
        from fringe.archive.instruments import instrument_record, spherometer_from_record

        return spherometer_from_record(
            instrument_record(options["archive"], "spherometer", options["spherometer"])
        )
    if len(shape) > 1:
        raise BadInput("a spherometer is one of --ring, --legs and --foot-circle")
    if not shape:
        if options["ball"]:
            raise BadInput("--ball needs --legs or --foot-circle, where the balls sit")
        return None
    from fringe.optics import spherometer as optics

    ball = options["ball"] or 0.0
    share = 2.0
    if shape == ["ring"]:
        if ball or len(options["ring"]) > 2:
            raise BadInput("--ring takes an inner and an outer diameter, and no balls")
        one = optics.ring(*(mm for mm, _ in options["ring"]))
    elif shape == ["legs"]:
        one, share = optics.three_legs([mm for mm, _ in options["legs"]], ball), math.sqrt(3)
    else:
        one = optics.circle_of_feet(options["foot_circle"], ball)
    size_u, ball_u = options["size_u"], options["ball_u"]
    return optics.with_uncertainty(
        one,
        u_contact_mm=None if size_u is None else size_u / share,
        u_ball_mm=None if ball_u is None else ball_u / 2,
    )


def _lamp(options: dict[str, Any]) -> tuple[Lamp | None, float] | None:
    """Lamp, if one was named, and its wavelength [nm]."""
    name, wavelength = options["lamp"], options["wavelength"]
    if name is None and wavelength is None:
        return None
    if options["diameter"] is None:
        raise BadInput("fringes are counted over an aperture: give its --diameter")
    if name is None or wavelength is not None:
        return None, wavelength_nm(name, wavelength)
    from fringe.archive.instruments import find_lamp

    lamp = find_lamp(name, options["archive"])
    return lamp, lamp.wavelength_nm


def _limits(lamp: tuple[Lamp | None, float] | None, options: dict[str, Any]) -> list[Any]:
    from fringe.judge.spherometer.reach import rings_by_camera, rings_by_lamp

    limits = []
    if lamp is not None and lamp[0] is not None:
        limits.append(("lamp", rings_by_lamp(lamp[0])))
    if options["scale"] is not None and options["diameter"] is not None:
        if options["scale"] <= 0:
            raise BadInput("--scale must be greater than zero")
        limits.append(("camera", rings_by_camera(options["diameter"], options["scale"])))
    return limits


def _json(
    result: SagResult, near: Reach | None, lamp: tuple[Lamp | None, float] | None, notes: list[str]
) -> dict[str, Any]:
    values = result.to_json() | {
        "wavelength_nm": lamp[1] if lamp else None,
        "near_enough": near.near_enough if near else None,
        "rings_expected": near.rings_expected if near else None,
        "rings_expected_u95": near.rings_expected_u95 if near else None,
        "rings_readable": _finite(near.rings_readable) if near else None,
        "rings_limited_by": near.limited_by if near else None,
        "overlap_fringes": [_finite(end) for end in near.overlap_fringes]
        if near and near.overlap_fringes
        else None,
        "notes": notes,
    }
    shown = {
        "depth": result.depth_um,
        "work_radius": result.work_radius_mm,
        "radius_difference": result.radius_difference_mm,
    }
    values["budgets"] = {name: one.to_json() for name, one in shown.items() if one is not None}
    return values


def _finite(value: float) -> float | None:
    """Return the value; None for a limit that is none, since JSON has no infinity."""
    return value if math.isfinite(value) else None


def _text(
    result: SagResult,
    near: Reach | None,
    lamp: tuple[Lamp | None, float] | None,
    diameter_mm: float | None,
    notes: list[str],
) -> list[str]:
    from fringe.format import figures
    from fringe.judge.spherometer.compare import text_of, trap_text

    rows = [
        text_of(result),
        line(
            "readings",
            f"plate {figures(result.plate_sagitta_um, 6)} µm, "
            f"work {figures(result.work_sagitta_um, 6)} µm",
        ),
        line("work should read", f"{figures(result.target_um, 6)} µm at the plate's radius"),
    ]
    if result.work_radius_mm is not None and result.radius_difference_mm is not None:
        step = result.radius_difference_mm
        plate_mm = result.work_radius_mm.value - step.value
        share = f" ({figures(100 * step.value / plate_mm, 3, signed=True)} %)"
        way = {"plate": "by the plate's radius", "ring": "by the ring's size"}[result.method]
        rows += [
            line("work radius", f"{result.work_radius_mm.text()}, {way}"),
            line(
                "radius difference",
                step.text(signed=True) + ("" if abs(step.value) < step.u95 else share),
            ),
        ]
    if result.power_fringes is not None and lamp is not None:
        rows.append(
            line(
                f"over {diameter_mm:.4g} mm",
                f"{result.power_fringes.text(signed=True)} "
                f"at {lamp[1]:.1f} nm{_contact(result.power_fringes)}",
            )
        )
    if near is not None:
        rows += _near_text(near)
    trap = trap_text(result)
    rows += [remark(note) for note in ([trap] if trap else []) + notes]
    return rows


def _tables(result: SagResult) -> list[str]:
    from fringe.cli._budget_table import budget_table

    shown = (result.depth_um, result.work_radius_mm, result.radius_difference_mm)
    tables = [row for one in shown if one is not None for row in ("", *budget_table(one))]
    return tables + [remark(one.warning) for one in shown if one is not None and one.warning]


def _contact(power: Budget) -> str:
    """Where the contact is, as far as the spherometer can tell."""
    if abs(power.value) < power.u95:
        return ""
    return f", contact at the {'centre' if power.value > 0 else 'edge'}"


def _near_text(near: Reach) -> list[str]:
    from fringe.format import figures, plus_minus

    words = {
        "yes": "near enough",
        "no": "too far yet",
        "perhaps": "perhaps near enough",
    }
    expected = f"{plus_minus(near.rings_expected, near.rings_expected_u95)} expected"
    low_end = figures(near.rings_expected_u95, 2)
    if near.limited_by is None:
        return [
            line("rings", f"{expected}: near enough for this lamp"),
            line("", "how many the camera resolves: give --scale or --camera"),
            line("both methods", f"should agree from {low_end} fringes on"),
        ]
    readable = f"{figures(math.floor(near.rings_readable), 5)} readable ({near.limited_by})"
    rows = [line("rings", f"{expected}, {readable}: {words[near.near_enough]}")]
    if near.overlap_fringes is None:
        rows.append(line("both methods", f"meet nowhere: ±{low_end} is more than can be read"))
    else:
        high = figures(math.floor(near.overlap_fringes[1]), 5)
        rows.append(line("both methods", f"should agree from {low_end} to {high} fringes"))
    return rows

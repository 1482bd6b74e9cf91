"""`fringe log`: one visit to the bench, written once and for good."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._bench import NUMBER, SAGITTAS, SIGNED_LENGTHS, line, remark, wrapped_line
from fringe.cli._options import LENGTH, json_option, print_json
from fringe.cli._surface_reading import surface_reading_options
from fringe.cli._workers import worker_options

if TYPE_CHECKING:
    from fringe.archive.store.session import Visit
    from fringe.archive.views.surface_state import SurfaceState
    from fringe.judge.spherometer.compare import SagResult


@click.command("log", short_help="Log a visit to the bench: photographs, readings, remarks.")
@click.argument("surface")
@click.argument("photos", nargs=-1, type=click.Path(path_type=Path), metavar="[PHOTO]...")
@surface_reading_options
@click.option("--camera", metavar="NAME", help="Camera on record: its distance and scale.")
@click.option("--against", metavar="PIECE", help="Laid on this surface, not on the plate.")
@click.option("--aperture", type=LENGTH, metavar="L", help="Of a plate smaller than the work.")
@click.option(
    "--place",
    type=SIGNED_LENGTHS,
    multiple=True,
    metavar="L,L",
    help="Where it lay: across, down from the work's centre; once a PHOTO.",
)
@click.option("--burst", is_flag=True, help="The PHOTOs are frames of one contact: one reading.")
@click.option("--by-eye", metavar="TEXT", help='Fringes seen without a camera: "rings 3.5 centre".')
@click.option("--spherometer", metavar="NAME", help="Spherometer on record; else points.")
@click.option(
    "--sag-plate", type=SAGITTAS, multiple=True, metavar="L,...", help="Its readings on the plate."
)
@click.option(
    "--sag-work", type=SAGITTAS, multiple=True, metavar="L,...", help="Its readings on the work."
)
@click.option(
    "--zero",
    type=SAGITTAS,
    multiple=True,
    metavar="L,...",
    help="Its readings on a flat; else it was set to zero there.",
)
@click.option("--reading-u", type=LENGTH, metavar="L", help="Standard uncertainty of a reading.")
@click.option("--stage", metavar="NAME", help="Work since the last visit: '#400', 9um, polish.")
@click.option("--minutes", type=NUMBER, metavar="M", help="How long that work was.")
@click.option("--on-top", type=click.Choice(["work", "tool"]), help="Which was the upper piece.")
@click.option("--stroke", metavar="TEXT", help="Its stroke.")
@click.option("--lap", metavar="TEXT", help="Its lap.")
@click.option("--pressure", metavar="TEXT", help="Its pressure.")
@click.option("--slurry", metavar="TEXT", help="Its slurry.")
@click.option("--removed", type=LENGTH, metavar="L", help="Glass it took off, by a gauge.")
@click.option("--pits", type=click.Choice(["gone", "left"]), help="Those of the grit before.")
@click.option("--temperature", type=NUMBER, metavar="C", help="At the bench, degrees Celsius.")
@click.option("--remark", metavar="TEXT", help="Anything else.")
@click.option("--by", metavar="NAME", help="Who measured.")
@click.option("--when", metavar="TIME", help="Of the visit, as 2026-03-14T09:30 or with +01:00.")
@click.option("--replaces", metavar="SESSION", help="Correct this session: its name or number.")
@click.option("--keep-refused", is_flag=True, help="Keep photographs that cannot be read, too.")
@worker_options
@json_option
def command(surface: str, photos: tuple[Path, ...], as_json: bool, **given: Any) -> None:
    """Log a visit to the bench: photographs, readings, remarks.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder. Each PHOTO is read with the
    plate, diameter and lamp of the surface's record, and kept with its original bytes. If one
    of them cannot be read, nothing is written unless --keep-refused. A correction takes over
    what it does not say from the session that it replaces. Copies of the instruments' records
    are kept with what they measured.

    \b
    Example:
      fringe log 'shop/concave 1' --stage '#400' --minutes 25 --on-top tool \\
        --sag-plate 808um,808um --sag-work 793um --zero 0um
      fringe log 'shop/concave 1' rings.jpg --stage polish --minutes 40 --on-top tool
      fringe log 'shop/concave 1' small.jpg --aperture 80mm --place 30mm,0mm
      fringe log 'shop/concave 1' --replaces 1 --remark 'new pitch lap'
    """
    from fringe.archive.store.surface import find_surface
    from fringe.archive.store.write import log_visit
    from fringe.archive.views.surface_state import surface_state
    from fringe.cli._visit import visit_of
    from fringe.cli._waiting import waiting

    found = find_surface(surface)
    with waiting("reading", quiet=as_json or not photos):
        visit, sagittas = visit_of(found, photos, given)
    path = log_visit(found, visit)
    state = surface_state(found)
    if as_json:
        print_json(_json(visit, path, state))
        return
    click.echo("\n".join(_text(visit, path, state, sagittas)))
    for problem in (*_refusals(visit), *state.problems):
        click.echo(f"fringe: {problem}", err=True)


def _json(visit: Visit, path: Path, state: SurfaceState) -> dict[str, Any]:
    number, row = _row_of(path, state)
    return {
        "surface": state.surface.name,
        "session": path.stem,
        "file": str(path),
        "visit": number,
        **row.to_json(),
        "wavelength_nm": state.wavelength_nm,
        "readings": [logged.reading.to_json() for logged in visit.readings],
        "spherometer": _spherometer_json(visit),
        "refused": _refusals(visit),
        "next_step": state.next_step.to_json(),
        "problems": list(state.problems),
    }


def _spherometer_json(visit: Visit) -> dict[str, Any] | None:
    from fringe.student_t import coverage_factor

    one = next((s for s in visit.spherometers if s.measured is not None), None)
    if one is None or one.measured is None:
        return None
    found = one.measured
    k = coverage_factor(found.dof)
    return {
        "power_fringes": found.power_fringes,
        "power_u95_fringes": None if found.power_u_fringes is None else k * found.power_u_fringes,
        "radius_difference_mm": found.radius_difference_mm,
        "radius_difference_u95_mm": None
        if found.radius_difference_u_mm is None
        else k * found.radius_difference_u_mm,
        "work_radius_mm": one.radius_mm,
    }


def _text(visit: Visit, path: Path, state: SurfaceState, sagittas: SagResult | None) -> list[str]:
    from fringe.cli._words import power_text, radius_text, verdict_text
    from fringe.format import figures

    number, row = _row_of(path, state)
    rows = [f"{state.surface.name}, visit {number}, {row.when:%Y-%m-%d %H:%M}"]
    rows += _stage_text(visit)
    rows += _readings_text(visit)
    if sagittas is not None:
        from fringe.judge.spherometer.compare import text_of

        rows.append(line("spherometer", text_of(sagittas)))
    if row.power_fringes is not None:
        power = power_text(row.power_fringes, row.power_u95_fringes, row.sense)
        rows.append(line("power", f"{power}, at {state.wavelength_nm:.2f} nm"))
    if row.radius_difference_mm is not None:
        rows.append(line("work − plate", radius_text(row)))
    if row.irregularity_fringes is not None:
        rows.append(line("irregularity", f"{figures(row.irregularity_fringes, 3)} fringes"))
    if row.verdict is not None:
        rows.append(wrapped_line("verdict", f"{verdict_text(row)}: {row.reason}"))
    rows.append(wrapped_line("next", state.next_step.sentence()))
    rows.append(line("file", str(path)))
    if sagittas is not None:
        rows += [remark(note) for note in _notes(visit, sagittas)]
    return rows


def _readings_text(visit: Visit) -> list[str]:
    """One line a reading, where there are several, or one not of the whole on its plate."""
    from fringe.cli._words import power_text

    rows = []
    for logged in visit.readings:
        special = logged.against or logged.aperture_mm is not None
        if len(visit.readings) == 1 and not special:
            continue
        reading = logged.reading
        name = "by eye"
        if logged.photographs:
            name = visit.photographs[logged.photographs[0] - 1].file_name
        power = power_text(reading.power_fringes, reading.power_u95_fringes, reading.sense)
        over = "" if logged.aperture_mm is None else f", over {logged.aperture_mm:g} mm"
        if logged.place_mm is not None:
            over += " at {:g}, {:g} mm".format(*logged.place_mm)
        on = "" if logged.against is None else f", on {logged.against}"
        rows.append(line(name[:18], power + over + on))
    return rows


def _stage_text(visit: Visit) -> list[str]:
    """How a stage's grain size was understood, where a grit's name was."""
    if visit.work.stage is None:
        return []
    from fringe.judge.state.abrasives import stage

    one = stage(visit.work.stage)
    if one.size_um is None or one.source == "by its name":
        return []
    return [line("stage", f"{one.name}: grains of {one.size_um:g} µm ({one.source})")]


def _notes(visit: Visit, sagittas: SagResult) -> list[str]:
    from fringe.judge.spherometer.compare import trap_text

    assumed = [one.options["assumed"] for one in visit.spherometers if "assumed" in one.options]
    trap = trap_text(sagittas)
    return [*([trap] if trap else []), *dict.fromkeys(assumed), *sagittas.notes]


def _row_of(path: Path, state: SurfaceState) -> Any:
    """Number and row of the visit that was just logged."""
    rows = enumerate(state.rows, 1)
    return next((i, row) for i, row in rows if row.session_id == path.stem)


def _refusals(visit: Visit) -> list[str]:
    kept = [one for one in visit.photographs if one.refusal is not None]
    return [f"{one.file_name} is kept without a reading: {one.refusal}" for one in kept]

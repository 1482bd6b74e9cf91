"""`fringe log`: one visit to the bench, written once and for good."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._bench import NUMBER, line
from fringe.cli._options import json_option, print_json
from fringe.cli._surface_reading import surface_reader, surface_reading_options
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.session import Visit
    from fringe.archive.surface import Surface
    from fringe.judge.progress import Progress


@click.command("log", short_help="Log a visit to the bench: photographs, readings, remarks.")
@click.argument("surface")
@click.argument("photos", nargs=-1, type=click.Path(path_type=Path), metavar="[PHOTO]...")
@surface_reading_options
@click.option("--stage", metavar="NAME", help="Work since the last visit: its grit, or polish.")
@click.option("--minutes", type=NUMBER, metavar="M", help="How long that work was.")
@click.option("--on-top", type=click.Choice(["work", "tool"]), help="Which was the upper piece.")
@click.option("--temperature", type=NUMBER, metavar="C", help="At the bench, degrees Celsius.")
@click.option("--remark", metavar="TEXT", help="Anything else.")
@click.option("--by", metavar="NAME", help="Who measured.")
@click.option("--when", metavar="TIME", help="Of the visit, as 2026-03-14T09:30 or with +01:00.")
@click.option("--replaces", metavar="SESSION", help="Correct this session: its name or number.")
@click.option("--keep-refused", is_flag=True, help="Keep photographs that cannot be read, too.")
@json_option
def command(surface: str, photos: tuple[Path, ...], as_json: bool, **given: Any) -> None:
    """Log a visit to the bench: photographs, readings, remarks.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder. Each PHOTO is read with the
    plate, diameter and lamp of the surface's record, and kept with its original bytes. If one
    of them cannot be read, nothing is written unless --keep-refused. A correction takes over
    what it does not say from the session that it replaces.

    \b
    Example:
      fringe log 'shop/concave 1' rings.jpg --stage polish --minutes 40 --on-top tool
      fringe log 'shop/concave 1' --stage '#600' --minutes 25 --remark 'new pitch lap'
      fringe log 'shop/concave 1' better.jpg --replaces 1
    """
    from fringe.archive.surface import find_surface
    from fringe.archive.write import log_visit

    found = find_surface(surface)
    visit = _visit(found, photos, given)
    path = log_visit(found, visit)
    progress, problems = _progress(found)
    if as_json:
        print_json(_json(found, visit, path, progress, problems))
        return
    click.echo("\n".join(_text(found, visit, path, progress)))
    for problem in (*_refusals(visit), *problems):
        click.echo(f"fringe: {problem}", err=True)


def _visit(surface: Surface, photos: tuple[Path, ...], given: dict[str, Any]) -> Visit:
    from fringe.archive.session import Visit, Work

    work = Work(given["stage"], given["minutes"], given["on_top"])
    when = _time(given["when"])
    readings, photographs = _photographs(surface, photos, given) if photos else ((), ())
    inputs = {key: value for key, value in given.items() if value is not None}
    visit = Visit(
        when=when,
        by=given["by"],
        remarks=given["remark"],
        work=work,
        temperature_c=given["temperature"],
        readings=readings,
        photographs=photographs,
        replaces=given["replaces"],
        inputs={"photographs": [str(path) for path in photos], **inputs},
    )
    return visit if visit.replaces is None else _completed(surface, visit, visit.replaces)


def _completed(surface: Surface, visit: Visit, replaces: str) -> Visit:
    """A correction with what it leaves open taken over from the session it corrects."""
    from fringe.archive.gather import take_over
    from fringe.archive.read import find_session, open_session

    assert surface.folder is not None
    path = find_session(surface.folder, replaces)
    return take_over(visit, open_session(path).visit)


def _photographs(surface: Surface, photos: tuple[Path, ...], given: dict[str, Any]) -> Any:
    from fringe.archive.gather import read_photographs
    from fringe.archive.instruments import find_lamp

    name = given["lamp"] or surface.lamp
    if name is None:
        raise BadInput(
            f"surface {surface.name!r} has no usual lamp; give --lamp NAME (see `fringe lamps`)"
        )
    assert surface.folder is not None
    lamp = find_lamp(name, surface.folder.parent)
    options = {
        "lamp": name,
        **{k: given[k] for k in ("edge", "sense", "camera_distance", "scale")},
        "diameter_mm": surface.diameter_mm,
        "plate_radius_mm": surface.plate_radius_mm,
        "work": surface.form,
    }
    options["camera_distance_mm"] = options.pop("camera_distance")
    options["scale_px_per_mm"] = options.pop("scale")
    return read_photographs(
        photos,
        surface_reader(surface, lamp, given),
        lamp,
        diameter_mm=surface.diameter_mm,
        options={key: value for key, value in options.items() if value is not None},
        keep_refused=given["keep_refused"],
    )


def _time(text: str | None) -> datetime | None:
    """Read a time; without an offset it is local time."""
    if text is None:
        return None
    try:
        time = datetime.fromisoformat(text)
        return time if time.utcoffset() is not None else time.astimezone()
    except (ValueError, OverflowError, OSError) as error:
        raise BadInput(f"--when: {text!r} is no time; write 2026-03-14T09:30") from error


def _progress(surface: Surface) -> tuple[Progress, tuple[str, ...]]:
    """The surface's visits with the new one among them."""
    from fringe.archive.gather import visit_records
    from fringe.archive.order import survey
    from fringe.judge.progress import progress

    assert surface.folder is not None
    found = survey(surface.folder)
    return progress(visit_records(found.sessions), surface.tolerance), found.problems


def _json(
    surface: Surface, visit: Visit, path: Path, progress: Progress, problems: tuple[str, ...]
) -> dict[str, Any]:
    number, row = _row_of(path, progress)
    return {
        "surface": surface.name,
        "session": path.stem,
        "file": str(path),
        "visit": number,
        **row.to_json(),
        "wavelength_nm": progress.wavelength_nm,
        "readings": [logged.reading.to_json() for logged in visit.readings],
        "refused": _refusals(visit),
        "next_step": progress.next_step.to_json(),
        "problems": list(problems),
    }


def _text(surface: Surface, visit: Visit, path: Path, progress: Progress) -> list[str]:
    from fringe.cli._words import power_text, radius_text, verdict_text
    from fringe.format import figures

    number, row = _row_of(path, progress)
    rows = [f"{surface.name}, visit {number}, {row.when:%Y-%m-%d %H:%M}"]
    for logged in visit.readings if len(visit.readings) > 1 else ():
        name = visit.photographs[logged.photographs[0] - 1].file_name
        reading = logged.reading
        rows.append(line(name[:18], power_text(
            reading.power_fringes, reading.power_u95_fringes, reading.sense
        )))  # fmt: skip
    if row.power_fringes is not None:
        power = power_text(row.power_fringes, row.power_u95_fringes, row.sense)
        rows.append(line("power", f"{power}, at {progress.wavelength_nm:.2f} nm"))
    if row.radius_difference_mm is not None:
        rows.append(line("work − plate", radius_text(row)))
    if row.irregularity_fringes is not None:
        rows.append(line("irregularity", f"{figures(row.irregularity_fringes, 3)} fringes"))
    if row.verdict is not None:
        rows.append(line("verdict", f"{verdict_text(row)}: {row.reason}"))
    rows.append(line("next", f"{progress.next_step.text()}: {progress.next_step.reason}"))
    return [*rows, line("file", str(path))]


def _row_of(path: Path, progress: Progress) -> Any:
    """Number and row of the visit that was just logged."""
    rows = enumerate(progress.rows, 1)
    return next((i, row) for i, row in rows if row.session_id == path.stem)


def _refusals(visit: Visit) -> list[str]:
    kept = [one for one in visit.photographs if one.refusal is not None]
    return [f"{one.file_name} is kept without a reading: {one.refusal}" for one in kept]

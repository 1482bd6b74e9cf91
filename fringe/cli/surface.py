"""`fringe surface`: the record of what is being made, and to which tolerance."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fringe.cli._bench import NUMBER, line, wavelength_nm
from fringe.cli._options import LENGTH, json_option, print_json
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.store.index import Entry
    from fringe.archive.store.surface import Surface
    from fringe.judge.tolerance.verdict import Tolerance

F = TypeVar("F", bound=Callable[..., Any])
OPTIONS = (
    click.option("--radius", type=LENGTH, metavar="L", help="Nominal radius."),
    click.option("--radius-u", type=LENGTH, metavar="L", help="Its standard uncertainty."),
    click.option("--diameter", type=LENGTH, metavar="L", help="Diameter of the aperture."),
    click.option("--plate", metavar="NAME", help="Reference plate."),
    click.option("--plate-radius", type=LENGTH, metavar="L", help="Its certified radius."),
    click.option("--plate-radius-u", type=LENGTH, metavar="L", help="Its standard uncertainty."),
    click.option("--tolerance-power", type=NUMBER, metavar="N", help="Power allowed, fringes."),
    click.option("--tolerance-irregularity", type=NUMBER, metavar="N", help="The same, B."),
    click.option(
        "--tolerance-radius", metavar="L|PERCENT", help="Radius allowed, either way: 3mm, 0.1%."
    ),
    click.option(
        "--tolerance-wavelength", type=LENGTH, metavar="L", help="Of those fringes: 546.07nm."
    ),
    click.option(
        "--rule", type=click.Choice(["simple", "guard95", "shrinkU"]), help="Decision rule."
    ),
    click.option("--lamp", metavar="NAME", help="Usual lamp, see `fringe lamps`."),
    click.option("--glass", metavar="TEXT", help="Glass."),
    click.option("--note", metavar="TEXT", help="Remark."),
)


def record_options(function: F) -> F:
    """Add the options of everything that a record holds besides name and form."""
    for option in reversed(OPTIONS):
        function = option(function)
    return function


@click.group("surface", short_help="Make a surface to keep a record of.")
def command() -> None:
    """Make a surface to keep a record of.

    A surface is a folder in an archive, and an archive is a folder anywhere. Its record says
    what the surface is meant to be; `fringe log` adds visits to it.

    \b
    Example:
      fringe surface add shop concave-1 --form concave --radius 3048mm --diameter 150mm
      fringe surface list shop
    """


@command.command("add", short_help="Add a surface to an archive.")
@click.argument("archive", type=click.Path(path_type=Path))
@click.argument("name")
@click.option(
    "--form", type=click.Choice(["convex", "concave"]), required=True, help="Form of the work."
)
@record_options
@json_option
def add(archive: Path, name: str, form: str, as_json: bool, **given: Any) -> None:
    """Add a surface to an archive, which is made if it is not there yet.

    The name is free text. Fringes of the tolerance are counted at --tolerance-wavelength, else
    at the lamp's, else at 546.07 nm (mercury e line, the default of ISO 10110). Where the
    archive has a record of the plate, its radius is taken from that.

    \b
    Example:
      fringe surface add shop 'concave 1' --form concave --radius 3048mm --diameter 150mm \\
        --plate P7 --plate-radius 3048.6mm --plate-radius-u 0.2mm --lamp sodium \\
        --tolerance-power 2 --tolerance-irregularity 0.3
    """
    from fringe.archive.store.surface import Surface, add_surface

    if given["radius"] is None or given["diameter"] is None:
        raise BadInput("a surface needs --radius and --diameter, as --radius 3048mm")
    bare = Surface(name, form, given["radius"], given["diameter"])
    surface = add_surface(archive, _with(bare, archive, given))
    _print(surface, as_json=as_json)


@command.command("change", short_help="Change a surface's record.")
@click.argument("surface")
@record_options
@json_option
def change(surface: str, as_json: bool, **given: Any) -> None:
    """Change a surface's record; the versions before stay as they are.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder.

    \b
    Example:
      fringe surface change 'shop/concave 1' --tolerance-power 1.5
    """
    from fringe.archive.store.surface import change_surface, find_surface

    before = find_surface(surface)
    assert before.folder is not None
    if all(value is None for value in given.values()):
        raise BadInput("there is nothing to change; give an option of what is to be different")
    after = _with(before, before.folder.parent, given)
    names = (
        "radius_mm",
        "radius_u_mm",
        "diameter_mm",
        "plate",
        "tolerance",
        "lamp",
        "glass",
        "note",
    )
    changes = {n: getattr(after, n) for n in names if getattr(after, n) != getattr(before, n)}
    _print(change_surface(before, **changes) if changes else before, as_json=as_json)


@command.command("move", short_help="Move a surface to another archive.")
@click.argument("surface")
@click.argument("archive", type=click.Path(path_type=Path))
@json_option
def move(surface: str, archive: Path, as_json: bool) -> None:
    """Move a surface with all its sessions to another archive, made if it is not there.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder. Its files stay as they were
    written; records of its plate and lamp are copied along.

    \b
    Example:
      fringe surface move 'shop/concave 1' finished
    """
    from fringe.archive.store.surface import find_surface
    from fringe.archive.transfer.move import move_surface

    _print(move_surface(find_surface(surface), archive), as_json=as_json)


@command.command("show", short_help="Show a surface's record.")
@click.argument("surface")
@click.option("--version", "number", type=click.IntRange(1), metavar="N", help="An older record.")
@json_option
def show(surface: str, number: int | None, as_json: bool) -> None:
    """Show a surface's record.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder.

    \b
    Example:
      fringe surface show 'shop/concave 1'
      fringe surface show 'shop/concave 1' --version 1
    """
    from fringe.archive.store.surface import find_surface, load_surface

    found = find_surface(surface)
    if number is not None:
        assert found.folder is not None
        found = load_surface(found.folder, number)
    _print(found, as_json=as_json)


@command.command("list", short_help="List an archive's surfaces.")
@click.argument("archive", type=click.Path(path_type=Path))
@json_option
def list_(archive: Path, as_json: bool) -> None:
    """List an archive's surfaces and how far each has come.

    The list comes from the archive's folder .index, which is brought up to date by the way and
    may be deleted at any time.

    \b
    Example:
      fringe surface list shop
    """
    from fringe.archive.store.index import list_archive

    entries = list_archive(archive).entries
    problems = [problem for entry in entries for problem in entry.problems]
    if as_json:
        found = [_listed_json(entry) for entry in entries if entry.surface is not None]
        print_json({"surfaces": found, "problems": problems})
        return
    for entry in entries:
        if entry.surface is not None:
            rows = [*_rows(entry.surface)[:2], _visits_row(entry)]
            click.echo("\n".join([entry.surface.name, *rows]))
    if not entries:
        click.echo(f"{archive}: no surface yet; `fringe surface add` makes one")
    for problem in problems:
        click.echo(f"fringe: {problem}", err=True)


def _listed_json(entry: Entry) -> dict[str, Any]:
    assert entry.surface is not None
    last = entry.visits[-1] if entry.visits else None
    return {
        **_json(entry.surface),
        "visits": len(entry.visits),
        "last_visit": None if last is None else last.when.isoformat(),
        "last_stage": None if last is None else last.stage,
    }


def _visits_row(entry: Entry) -> str:
    if not entry.visits:
        return line("visits", "none yet")
    last = entry.visits[-1]
    stage = "" if last.stage is None else f", after {last.stage}"
    return line("visits", f"{len(entry.visits)}, the last {last.when:%Y-%m-%d %H:%M}{stage}")


def _with(surface: Surface, archive: Path, given: dict[str, Any]) -> Surface:
    """Apply the options that were given to a record."""
    import dataclasses

    changes = {
        name: given[option]
        for option, name in (
            ("radius", "radius_mm"),
            ("radius_u", "radius_u_mm"),
            ("diameter", "diameter_mm"),
            ("lamp", "lamp"),
            ("glass", "glass"),
            ("note", "note"),
        )
        if given[option] is not None
    }
    changed = dataclasses.replace(surface, **changes)
    return dataclasses.replace(
        changed,
        plate=_plate(changed, archive, given),
        tolerance=_tolerance(changed, archive, given, new=surface.folder is None),
    )


def _plate(surface: Surface, archive: Path, given: dict[str, Any]) -> Any:
    import dataclasses

    from fringe.archive.store.surface import Plate

    plate, name = surface.plate, given["plate"]
    if name is not None:
        kept = plate if name == plate.name else Plate(name)
        plate = _recorded_plate(surface, archive, name) or kept
    if given["plate_radius"] not in (None, plate.radius_mm):
        plate = dataclasses.replace(plate, radius_u_mm=None)  # it belongs to the old radius
    fields = {
        "radius_mm": given["plate_radius"],
        "radius_u_mm": given["plate_radius_u"],
    }
    return dataclasses.replace(plate, **{k: v for k, v in fields.items() if v is not None})


def _recorded_plate(surface: Surface, archive: Path, name: str) -> Any:
    """The plate as the archive's own record has it; None without one."""
    from fringe.archive.instruments import list_instruments, load_instrument
    from fringe.archive.store.surface import Plate

    if not archive.is_dir() or name not in {o.name for o in list_instruments(archive, "plate")}:
        return None
    values = load_instrument(archive, "plate", name).values
    if values["form"] == surface.form:
        raise BadInput(
            f"plate {name}: it is {values['form']} like the surface; the two do not fit together"
        )
    return Plate(name, values["radius_mm"], values.get("u_radius_mm"))


def _tolerance(surface: Surface, archive: Path, given: dict[str, Any], *, new: bool) -> Tolerance:
    import dataclasses

    from fringe.archive.instruments import find_lamp
    from fringe.archive.store.surface import E_LINE_NM

    lamp = None if given["lamp"] is None else find_lamp(given["lamp"], archive)
    wavelength = None
    if given["tolerance_wavelength"] is not None:
        wavelength = wavelength_nm(None, given["tolerance_wavelength"])
    elif new:
        wavelength = E_LINE_NM if lamp is None else lamp.wavelength_nm
    fields = {
        "power_fringes": given["tolerance_power"],
        "irregularity_fringes": given["tolerance_irregularity"],
        "radius_difference_mm": _radius_limit(given["tolerance_radius"], surface.radius_mm),
        "wavelength_nm": wavelength,
        "rule": given["rule"],
    }
    known = {key: value for key, value in fields.items() if value is not None}
    return dataclasses.replace(surface.tolerance, **known)


def _radius_limit(text: str | None, radius_mm: float) -> float | None:
    from fringe.units import positive_length_mm

    if text is None:
        return None
    if not text.rstrip().endswith("%"):
        return positive_length_mm(text, "--tolerance-radius")
    percent: float = NUMBER.convert(text.rstrip()[:-1].strip(), None, None)
    if not 0 < percent < 100:
        raise BadInput(f"--tolerance-radius: {text!r} is no share of the radius; write 0.1%")
    return percent / 100 * radius_mm


def _json(surface: Surface) -> dict[str, Any]:
    return {**surface.to_json(), "folder": str(surface.folder)}


def _print(surface: Surface, *, as_json: bool) -> None:
    if as_json:
        print_json(_json(surface))
    else:
        click.echo("\n".join([surface.name, *_rows(surface)]))


def _rows(surface: Surface) -> list[str]:
    from fringe.format import plus_minus

    radius = plus_minus(surface.radius_mm, _u95(surface.radius_u_mm), "mm", digits=7)
    rows = [
        line("form", f"{surface.form}, radius {radius}, aperture {surface.diameter_mm:g} mm"),
        line("folder", str(surface.folder)),
    ]
    plate = surface.plate
    if plate.name or plate.radius_mm is not None:
        shown = (
            ""
            if plate.radius_mm is None
            else plus_minus(plate.radius_mm, _u95(plate.radius_u_mm), "mm", digits=7)
        )
        rows.append(line("plate", ", radius ".join(filter(None, [plate.name or "no name", shown]))))
    rows.append(line("tolerance", _tolerance_text(surface.tolerance)))
    rows += [
        line(label, text)
        for label, text in (
            ("lamp", surface.lamp),
            ("glass", surface.glass),
            ("note", surface.note),
        )
        if text
    ]
    if surface.changed_at is not None:
        when = surface.changed_at.strftime("%Y-%m-%d %H:%M")
        rows.append(line("record", f"version {surface.version}, {when}"))
    return rows


def _tolerance_text(tolerance: Tolerance) -> str:
    from fringe.format import figures

    limits = []
    if tolerance.power_fringes is not None:
        limits.append(f"power ±{figures(tolerance.power_fringes)} fringes")
    if tolerance.irregularity_fringes is not None:
        limits.append(f"irregularity {figures(tolerance.irregularity_fringes)} fringes")
    if tolerance.radius_difference_mm is not None:
        limits.append(f"radius ±{figures(tolerance.radius_difference_mm)} mm")
    if not limits:
        return f"none; fringes at {tolerance.wavelength_nm:.2f} nm"
    return f"{', '.join(limits)}; fringes at {tolerance.wavelength_nm:.2f} nm, {tolerance.rule}"


def _u95(u: float | None) -> float | None:
    """Half-width of the 95 % interval that every printed ± is."""
    from fringe.student_t import coverage_factor

    return None if u is None else coverage_factor() * u

"""`fringe budget`: where the uncertainty of a session comes from."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._bench import NM_PER_MM, NUMBER, line, remark, wrapped_line
from fringe.cli._options import LENGTH, json_option, print_json
from fringe.cli.params import picture_option
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.store.session import LoggedReading, Session
    from fringe.judge.tolerance.verdict import Verdict
    from fringe.judge.uncertainty.budget import Budget
    from fringe.judge.uncertainty.improve import Settling
    from fringe.judge.uncertainty.sources import Bench


@click.command("budget", short_help="Show where a session's uncertainty comes from.")
@click.argument("session")
@click.argument("number", required=False)
@click.option("--diameter-u", type=LENGTH, metavar="L", help="Of the aperture's diameter.")
@click.option("--plate-radius-u", type=LENGTH, metavar="L", help="Of the plate; else on record.")
@click.option(
    "--plate-form-u", type=LENGTH, metavar="L", help="Of its form, as a height; else on record."
)
@click.option("--axial-u", type=NUMBER, metavar="K", help="Of the faces' temperature difference.")
@click.option("--pieces-u", type=NUMBER, metavar="K", help="Of the pieces' one.")
@click.option("--glass", metavar="NAME", help="Glass of the table; else the surface's.")
@click.option("--thickness", type=LENGTH, metavar="L", help="Thickness of the thinner piece.")
@click.option("--result", metavar="NAME", help="Only this result, as power.")
@picture_option
@click.option(
    "--trials",
    type=click.IntRange(0, 10_000_000),
    default=50_000,
    show_default=True,
    help="Draws of the Monte Carlo check; 0 for none.",
)
@json_option
def command(
    session: str,
    number: str | None,
    result: str | None,
    picture: Path | None,
    trials: int,
    as_json: bool,
    **given: Any,
) -> None:
    """Show where the uncertainty of a session's results comes from.

    SESSION is a session's file, or ARCHIVE/NAME of a surface with the NUMBER of a session (the
    last one that measured, without it). Each input with its standard uncertainty, its effect
    on the result, its share and degrees of freedom; a Monte Carlo run says where first order
    is not good enough. If the verdict is unproven: which input to better. The -u options are
    standard uncertainties of what the session itself does not know.

    \b
    Example:
      fringe budget 'shop/concave 1'
      fringe budget 'shop/concave 1' 1 --axial-u 0.1 --glass borosilicate --thickness 25mm
      fringe budget 'shop/concave 1' --result power --picture budget.png
    """
    from fringe.archive.store.read import open_session
    from fringe.cli._waiting import waiting
    from fringe.judge.uncertainty.sources import reading_budgets

    with waiting("working it out", quiet=as_json):
        opened = open_session(_session_file(session, number))
        known: dict[str, Budget] = {}
        verdict, settling = None, None
        notes: list[str] = []
        for label, group in _contacts(opened).items():
            bench = _bench(opened, group, given)
            found = reading_budgets([o.reading for o in group], bench, trials=trials)
            if not label:
                verdict, settling = _judged(opened, found, group, bench)
            known |= _labelled(_honest(found.results, opened, group[0], given, notes), label)
        known |= _labelled(_spherometer(opened, trials), "spherometer")
        if not known:
            raise BadInput(f"{session}: neither fringes nor a spherometer were read in it")
        if verdict is None:
            verdict, settling = _judged_by_spherometer(opened, known)
        results = _chosen(known, result)
        if picture is not None:
            _draw(picture, results, opened)
    if as_json:
        print_json(_json(results, verdict, settling, picture) | {"notes": notes})
    else:
        rows = _text(results, verdict, settling, picture)
        click.echo("\n".join(rows + [remark(note) for note in notes]))


def _session_file(text: str, number: str | None) -> Path:
    """File of a session: as given, or by its surface and its number there."""
    if number is None and Path(text).is_file():
        return Path(text)
    from fringe.archive.store.order import list_sessions
    from fringe.archive.store.read import find_session
    from fringe.archive.store.surface import find_surface

    folder = find_surface(text).folder
    assert folder is not None
    if number is not None:
        return find_session(folder, number)
    measured = [one for one in list_sessions(folder) if one.measured]
    if not measured:
        raise BadInput(f"{text}: nothing was measured in its sessions yet; `fringe log` adds one")
    return measured[-1].place


def _contacts(opened: Session) -> dict[str, list[LoggedReading]]:
    """Readings with a power, in groups of one contact; '' for the whole work on its plate."""
    groups: dict[str, list[LoggedReading]] = {}
    read = [one for one in opened.visit.readings if one.reading.power_fringes is not None]
    lights = {round(one.reading.wavelength_nm, 3) for one in read}
    for one in read:
        parts = [f"on {one.against}"] if one.against else []
        if one.aperture_mm is not None:
            place = "" if one.place_mm is None else " at {:g}, {:g} mm".format(*one.place_mm)
            parts.append(f"over {one.aperture_mm:g} mm{place}")
        if len(lights) > 1:
            parts.append(f"at {one.reading.wavelength_nm:.1f} nm")
        groups.setdefault(" ".join(parts), []).append(one)
    return groups


def _honest(
    results: dict[str, Budget],
    opened: Session,
    first: LoggedReading,
    given: dict[str, Any],
    notes: list[str],
) -> dict[str, Budget]:
    """Leave out the work's radius where that of the piece below it is not on record."""
    plate, radius = opened.surface.plate, results.get("work radius")
    if radius is None:
        return results
    without = {name: one for name, one in results.items() if one is not radius}
    if first.against is not None:
        notes.append(f"the work's radius hangs on {first.against}'s: `fringe pair` tells both")
        return without
    if plate.radius_mm is None:
        notes.append("the work's radius stays open: no radius of the plate is on record")
        return without
    if plate.radius_u_mm is None and given["plate_radius_u"] is None:
        notes.append("the plate's radius is taken as exact: no uncertainty is on record")
    return results


def _labelled(results: dict[str, Budget], label: str) -> dict[str, Budget]:
    if not label:
        return results
    named = [replace(one, name=f"{label}, {one.name}") for one in results.values()]
    return {one.name: one for one in named}


def _bench(opened: Session, group: list[LoggedReading], given: dict[str, Any]) -> Bench:
    from fringe.archive.store.bench import bench_of
    from fringe.optics.thermal import glass, glass_names

    surface, first = opened.surface, group[0]
    name = given["glass"] or surface.glass
    known = name is not None and (given["glass"] or name.strip().lower() in glass_names())
    bench = bench_of(
        surface,
        opened.visit.instruments,
        aperture_mm=first.aperture_mm,
        against=first.against,
        options=first.options,
    )
    plate_u, form_mm = given["plate_radius_u"], given["plate_form_u"]
    return replace(
        bench,
        u_diameter_mm=given["diameter_u"] or 0.0,
        u_plate_radius_mm=bench.u_plate_radius_mm if plate_u is None else plate_u,
        u_plate_form_nm=bench.u_plate_form_nm if form_mm is None else form_mm * NM_PER_MM,
        u_axial_k=_not_negative("--axial-u", given["axial_u"]),
        u_pieces_k=_not_negative("--pieces-u", given["pieces_u"]),
        expansion_per_k=glass(str(name)).expansion_per_k if known else 0.0,
        thickness_mm=given["thickness"],
    )


def _spherometer(opened: Session, trials: int) -> dict[str, Budget]:
    """Budgets of the spherometer, where the session has its readings of plate and work."""
    from fringe.archive.views.sagittas import compared

    result = compared(opened.surface, opened.visit.spherometers, trials)
    if result is None:
        return {}
    found = (
        result.depth_um,
        result.power_fringes,
        result.work_radius_mm,
        result.radius_difference_mm,
    )
    return {one.name: one for one in found if one is not None}


def _judged_by_spherometer(
    opened: Session, known: dict[str, Budget]
) -> tuple[Verdict | None, Settling | None]:
    """Verdict of a session in which the spherometer alone measured the whole work."""
    from fringe.judge.tolerance.verdict import surface_verdict
    from fringe.judge.uncertainty.improve import what_settles

    measured = [one.measured for one in opened.visit.spherometers if one.measured is not None]
    if not measured or not _limits(opened):
        return None, None
    verdict = surface_verdict(measured[0], opened.surface.tolerance)
    open_parts = [one for one in verdict.parts if one.state == "unproven"]
    named = [(known.get(f"spherometer, {one.quantity}"), one) for one in open_parts]
    judged = next(((budget, one) for budget, one in named if budget is not None), None)
    return verdict, None if judged is None else what_settles(*judged)


def _not_negative(what: str, value: float | None) -> float:
    if value is not None and value < 0:
        raise BadInput(f"{what}: an uncertainty is not below zero")
    return value or 0.0


def _chosen(results: dict[str, Budget], name: str | None) -> list[Budget]:
    if name is None:
        return list(results.values())
    if name not in results:
        raise BadInput(f"--result: there is no {name!r}; there are {', '.join(results)}")
    return [results[name]]


def _judged(
    opened: Session, found: Any, group: list[LoggedReading], bench: Bench
) -> tuple[Verdict | None, Settling | None]:
    """Verdict on the visit, as the record's, with this bench; and what would settle it."""
    from fringe.archive.store.bench import logged_measured
    from fringe.judge.progress import last_visit
    from fringe.judge.state.visits import VisitRecord
    from fringe.judge.uncertainty.improve import what_settles

    measured = [logged_measured(one, bench) for one in group]
    measured += [one.measured for one in opened.visit.spherometers if one.measured is not None]
    visit = VisitRecord(opened.summary.session_id, opened.summary.when, measured=tuple(measured))
    _, verdict = last_visit([visit], opened.surface.tolerance)
    if verdict is None:
        return None, None
    open_parts = [one for one in verdict.parts if one.state == "unproven"]
    judged = next((one for one in open_parts if one.quantity in found.results), None)
    return verdict, None if judged is None else what_settles(found[judged.quantity], judged)


def _limits(opened: Session) -> bool:
    """Whether the surface's tolerance limits anything."""
    one = opened.surface.tolerance
    limits = (one.power_fringes, one.radius_difference_mm, one.irregularity_fringes)
    return limits != (None, None, None)


def _draw(path: Path, results: list[Budget], opened: Session) -> None:
    from fringe.files import write_whole
    from fringe.show.figures.budget import budget_figure
    from fringe.show.figures.style import Facts, png_bytes

    facts = Facts(
        wavelength_nm=_wavelength_nm(opened),
        diameter_mm=opened.surface.diameter_mm,
        surface=opened.surface.name,
        when=f"{opened.summary.when:%Y-%m-%d %H:%M}",
    )
    write_whole(path, png_bytes(budget_figure(results, facts)))


def _wavelength_nm(opened: Session) -> float | None:
    if opened.visit.readings:
        return opened.visit.readings[0].reading.wavelength_nm
    return opened.surface.tolerance.wavelength_nm


def _json(
    results: list[Budget], verdict: Verdict | None, settling: Settling | None, picture: Path | None
) -> dict[str, Any]:
    return {
        "results": [one.to_json() for one in results],
        "verdict": verdict.to_json() if verdict else None,
        "settles": settling.to_json() if settling else None,
        "picture": str(picture) if picture else None,
    }


def _text(
    results: list[Budget], verdict: Verdict | None, settling: Settling | None, picture: Path | None
) -> list[str]:
    from fringe.judge.tolerance.verdict_words import with_probability
    from fringe.show.text.budget import budget_table

    rows: list[str] = []
    for one in results:
        rows += [*budget_table(one), ""]
    if verdict is not None:
        rows.append(
            line(
                "verdict",
                with_probability(verdict.state, verdict.probability),
            )
        )
    if settling is not None:
        rows.append(wrapped_line("to settle it", settling.text))
    if picture is not None:
        rows.append(line("picture", str(picture)))
    rows += [remark(one.warning) for one in results if one.warning]
    return rows[:-1] if rows[-1] == "" else rows

"""Where the uncertainty of a session's results comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from fringe.archive.store.bench import bench_of, logged_measured
from fringe.archive.store.order import find_visit, list_sessions
from fringe.archive.store.read import open_session
from fringe.archive.store.session import LoggedReading, Session
from fringe.archive.store.surface import find_surface
from fringe.archive.views.made_to import MadeTo, visits_made_to
from fringe.archive.views.sagittas import compared
from fringe.errors import BadInput
from fringe.judge.progress import last_visit
from fringe.judge.state.visits import VisitRecord
from fringe.judge.tolerance.verdict import Verdict, surface_verdict
from fringe.judge.uncertainty.budget import Budget, Budgets
from fringe.judge.uncertainty.correlation import Correlation, correlation_of
from fringe.judge.uncertainty.improve import Settling, what_settles
from fringe.judge.uncertainty.sources import Bench, reading_budgets
from fringe.optics.thermal import glass, glass_names

TRIALS = 50_000


@dataclass(frozen=True)
class Assumptions:
    """Standard uncertainties that a session itself does not know, and the piece that bends.

    Attributes
    ----------
    diameter_u_mm : float or None
        Of the aperture's diameter [mm].
    plate_radius_u_mm, plate_form_u_nm : float or None
        Of the plate's radius [mm], and of its form as a height [nm]; else those on record.
    axial_u_k, pieces_u_k : float or None
        Of the temperature difference of the faces, and of the pieces [K].
    glass, thickness_mm : str or None, float or None
        Of the table, else the surface's; thickness of the thinner piece [mm].
    """

    diameter_u_mm: float | None = None
    plate_radius_u_mm: float | None = None
    plate_form_u_nm: float | None = None
    axial_u_k: float | None = None
    pieces_u_k: float | None = None
    glass: str | None = None
    thickness_mm: float | None = None


@dataclass(frozen=True)
class SessionBudgets:
    """Budgets of what a session measured.

    Attributes
    ----------
    session : Session
    results : tuple of Budget
        One a result.
    correlation : Correlation
        Of the results, in their order.
    verdict : Verdict or None
        On the whole work, on what it is made to.
    settling : Settling or None
        What would settle an unproven verdict.
    notes : tuple of str
        What stays open, or is taken for granted.
    """

    session: Session
    results: tuple[Budget, ...]
    correlation: Correlation
    verdict: Verdict | None
    settling: Settling | None
    notes: tuple[str, ...]

    @property
    def wavelength_nm(self) -> float | None:
        """Of the fringes that were read, else of the tolerance [nm]."""
        if self.session.visit.readings:
            return self.session.visit.readings[0].reading.wavelength_nm
        return self.session.surface.tolerance.wavelength_nm

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe budget --json`, without the picture's."""
        return {
            "results": [one.to_json() for one in self.results],
            "correlation": self.correlation.to_json(),
            "verdict": self.verdict.to_json() if self.verdict else None,
            "settles": self.settling.to_json() if self.settling else None,
            "notes": list(self.notes),
        }


def session_budgets(
    session: str,
    number: str | None,
    assumed: Assumptions,
    *,
    result: str | None = None,
    trials: int = TRIALS,
) -> SessionBudgets:
    """Work out where the uncertainty of each result of a session comes from.

    Parameters
    ----------
    session : str
        A session's file, or ``ARCHIVE/NAME`` of a surface.
    number : str or None
        Of a visit to that surface; the last one that measured, without it.
    assumed : Assumptions
    result : str or None
        Only this result.
    trials : int
        Draws of the Monte Carlo check; zero for none.

    Raises
    ------
    BadInput
        If there is no such session or result, or nothing was measured in it.
    """
    return budgets_of(open_session(_session_file(session, number)), assumed, result, trials=trials)


def budgets_of(
    opened: Session, assumed: Assumptions, result: str | None = None, *, trials: int = TRIALS
) -> SessionBudgets:
    """Work out where the uncertainty of each result of an opened session comes from.

    Parameters and errors are those of :func:`session_budgets`.
    """
    groups: list[dict[str, Budget]] = []
    verdict, settling = None, None
    notes: list[str] = []
    made = _made_to(opened)
    own = "" if made.partner is None else f"on {made.partner}"
    for label, group in _contacts(opened).items():
        bench = _bench(opened, group[0], assumed)
        found = reading_budgets([one.reading for one in group], bench, trials=trials)
        if label == own:
            verdict, settling = _judged(opened, found, group, bench, made)
        kept, note = _with_known_plate(found.results, opened, group[0], assumed)
        notes += note
        groups.append(_labelled(kept, label))
    groups.append(_labelled(_spherometer(opened, trials), "spherometer"))
    known = {name: one for group in groups for name, one in group.items()}
    if not known:
        raise BadInput(f"{opened.summary.place}: neither fringes nor a spherometer were read in it")
    if verdict is None:
        verdict, settling = _judged_by_spherometer(opened, known)
    chosen = _chosen(known, result)
    together = correlation_of([list(group.values()) for group in groups])
    together = together.among([one.name for one in chosen])
    return SessionBudgets(opened, chosen, together, verdict, settling, tuple(notes))


def _made_to(opened: Session) -> MadeTo:
    """What the surface is made to, where the session lies among its others; else its plate."""
    surface = replace(opened.surface, folder=opened.summary.place.parent)
    try:
        return visits_made_to(surface)
    except BadInput:
        return MadeTo(surface, ())


def _session_file(text: str, number: str | None) -> Path:
    """File of a session: as given, or by its surface and the number of its visit there."""
    if number is None and Path(text).is_file():
        return Path(text)

    folder = find_surface(text).folder
    assert folder is not None
    if number is not None:
        return find_visit(folder, number).current.place
    measured = [one for one in list_sessions(folder) if one.measured]
    if not measured:
        raise BadInput(f"{text}: nothing was measured at its visits yet; `fringe log` adds one")
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


def _with_known_plate(
    results: Mapping[str, Budget], opened: Session, first: LoggedReading, assumed: Assumptions
) -> tuple[dict[str, Budget], list[str]]:
    """Leave out the work's radius where that of the piece below it is not on record; and why."""
    plate, radius = opened.surface.plate, results.get("work radius")
    if radius is None:
        return dict(results), []
    without = {name: one for name, one in results.items() if one is not radius}
    if first.against is not None:
        return without, [f"the work's radius hangs on {first.against}'s: `fringe pair` tells both"]
    if plate.radius_mm is None:
        return without, ["the work's radius stays open: no radius of the plate is on record"]
    if plate.radius_u_mm is None and assumed.plate_radius_u_mm is None:
        note = "the plate's radius is taken as exact: no uncertainty is on record"
        return dict(results), [note]
    return dict(results), []


def _labelled(results: dict[str, Budget], label: str) -> dict[str, Budget]:
    if not label:
        return results
    named = [replace(one, name=f"{label}, {one.name}") for one in results.values()]
    return {one.name: one for one in named}


def _bench(opened: Session, first: LoggedReading, assumed: Assumptions) -> Bench:
    """What a contact was read with: by the session, its records, and what is assumed."""
    surface = opened.surface
    name = assumed.glass or surface.glass
    known = name is not None and (assumed.glass or name.strip().lower() in glass_names())
    bench = bench_of(
        surface,
        opened.visit.instruments,
        aperture_mm=first.aperture_mm,
        against=first.against,
        options=first.options,
    )
    plate_u, form_nm = assumed.plate_radius_u_mm, assumed.plate_form_u_nm
    return replace(
        bench,
        u_diameter_mm=assumed.diameter_u_mm or bench.u_diameter_mm,
        u_plate_radius_mm=bench.u_plate_radius_mm if plate_u is None else plate_u,
        u_plate_form_nm=bench.u_plate_form_nm if form_nm is None else form_nm,
        u_axial_k=_not_negative("--axial-u", assumed.axial_u_k),
        u_pieces_k=_not_negative("--pieces-u", assumed.pieces_u_k),
        expansion_per_k=glass(str(name)).expansion_per_k if known else 0.0,
        thickness_mm=assumed.thickness_mm,
    )


def _spherometer(opened: Session, trials: int) -> dict[str, Budget]:
    """Budgets of the spherometer, where the session has its readings of plate and work."""
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


def _judged(
    opened: Session, found: Budgets, group: list[LoggedReading], bench: Bench, made: MadeTo
) -> tuple[Verdict | None, Settling | None]:
    """Verdict on the visit, as the record's, with this bench; and what would settle it."""
    measured = [replace(logged_measured(one, bench), against=None) for one in group]
    if made.partner is None:
        measured += [one.measured for one in opened.visit.spherometers if one.measured is not None]
    visit = VisitRecord(opened.summary.session_id, opened.summary.when, measured=tuple(measured))
    _, verdict = last_visit([visit], made.surface.tolerance)
    if verdict is None:
        return None, None
    open_parts = [one for one in verdict.parts if one.state == "unproven"]
    judged = next((one for one in open_parts if one.quantity in found.results), None)
    return verdict, None if judged is None else what_settles(found[judged.quantity], judged)


def _judged_by_spherometer(
    opened: Session, known: dict[str, Budget]
) -> tuple[Verdict | None, Settling | None]:
    """Verdict of a session in which the spherometer alone measured the whole work."""
    measured = [one.measured for one in opened.visit.spherometers if one.measured is not None]
    if not measured or not opened.surface.tolerance.limits_anything:
        return None, None
    verdict = surface_verdict(measured[0], opened.surface.tolerance)
    open_parts = [one for one in verdict.parts if one.state == "unproven"]
    named = [(known.get(f"spherometer, {one.quantity}"), one) for one in open_parts]
    judged = next(((budget, one) for budget, one in named if budget is not None), None)
    return verdict, None if judged is None else what_settles(*judged)


def _not_negative(what: str, value: float | None) -> float:
    if value is not None and value < 0:
        raise BadInput(f"{what}: an uncertainty cannot be negative")
    return value or 0.0


def _chosen(results: Mapping[str, Budget], name: str | None) -> tuple[Budget, ...]:
    if name is None:
        return tuple(results.values())
    if name not in results:
        raise BadInput(f"--result: there is no {name!r}; there are {', '.join(results)}")
    return (results[name],)

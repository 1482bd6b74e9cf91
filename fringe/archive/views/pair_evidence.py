"""What an archive tells of a pair: contacts, spherometer readings and certificates, as of now."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from fringe.archive.instruments import record_if_any
from fringe.archive.plates.notes import plate_notes
from fringe.archive.store.aperture import surface_aperture
from fringe.archive.store.bench import bench_of, logged_measured
from fringe.archive.store.order import Survey, survey
from fringe.archive.store.read import open_session
from fringe.archive.store.session import LoggedReading, LoggedSpherometer, Session, SessionSummary
from fringe.archive.store.surface import Surface
from fringe.archive.views.proof import Proof, Tell, prove
from fringe.archive.views.sagittas import compared
from fringe.errors import BadInput
from fringe.judge.pair.conflicts import Conflict
from fringe.judge.pair.contacts import Contact, Piece, Sagittas
from fringe.judge.pair.layings import Handling, Laying, contacts_of, distinct
from fringe.judge.spherometer.compare import SpherometerReadings, reading_signs
from fringe.judge.state.combine import combine
from fringe.judge.state.placements import Carried
from fringe.judge.state.whole_aperture import Placed, carry_parts
from fringe.judge.tolerance.measured import Measured
from fringe.optics.spherometer import Spherometer, other_form
from fringe.quantity import half_width, standard


@dataclass(frozen=True)
class PairRecord:
    """All evidence on a pair that an archive holds.

    Attributes
    ----------
    convex, concave : Piece
        The two.
    plates : tuple of Piece
        What they were tested on.
    contacts, sagittas : tuple of Contact, tuple of Sagittas
        The evidence, of the glass as it is now.
    irregularity : (float, float or None) or None
        Irregularity of their contact with each other and its standard uncertainty [fringe].
    zones : dict of Carried
        Placements of a plate smaller than the work, by the surface's name.
    notes : tuple of str
        What was left out, and why.
    conflicts : tuple of Conflict
        Photographs that were logged as two things that cannot both be; none counts.
    when : tuple of datetime
        Visits that the evidence is from, the earliest first.
    proofs : tuple of Proof
        Of convex and concave, where every session was proven for a report; else empty.
    """

    convex: Piece
    concave: Piece
    plates: tuple[Piece, ...] = ()
    contacts: tuple[Contact, ...] = ()
    sagittas: tuple[Sagittas, ...] = ()
    irregularity: tuple[float, float | None] | None = None
    zones: dict[str, Carried] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    when: tuple[datetime, ...] = ()
    proofs: tuple[Proof, ...] = ()
    conflicts: tuple[Conflict, ...] = ()

    def days_text(self) -> str | None:
        """First and last day of the evidence, as ``2026-03-14 to 2026-03-20``."""
        days = sorted({f"{one:%Y-%m-%d}" for one in self.when})
        return None if not days else days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"


@dataclass
class _Found:
    """Evidence while it is gathered."""

    pieces: dict[str, Piece]
    layings: list[Laying] = field(default_factory=list)
    # photographs from before the last work, by digest, and the visit that logged them
    before: dict[str, str] = field(default_factory=dict)
    visits: dict[str, int] = field(default_factory=dict)  # numbers, by session
    sagittas: list[Sagittas] = field(default_factory=list)
    irregularity: list[Measured] = field(default_factory=list)
    zones: dict[str, Carried] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    when: list[datetime] = field(default_factory=list)
    proofs: dict[str, Proof] = field(default_factory=dict)

    def survey(self, surface: Surface) -> Survey:
        """What the surface's folder holds."""
        assert surface.folder is not None
        proof = self.proofs.get(surface.name)
        return survey(surface.folder) if proof is None else proof.found

    def session(self, surface: Surface, place: Path) -> Session:
        """One session of it, proven."""
        proof = self.proofs.get(surface.name)
        if proof is None:
            return open_session(place)
        if place in proof.damaged:
            raise BadInput(proof.damaged[place])
        return proof.opened[place]


def laid_on(session: Session, surface: Surface, other: Surface) -> tuple[LoggedReading, ...]:
    """Readings of a session of one surface that were of it laid on the other."""
    return tuple(
        one for one in session.visit.readings if (one.against or surface.plate.name) == other.name
    )


def pair_record(
    convex: Surface,
    concave: Surface,
    *,
    contact_u_fringes: float = 0.0,
    contact_common_u_fringes: float | None = None,
    proven: bool = False,
    tell: Tell | None = None,
) -> PairRecord:
    """Gather all evidence on two surfaces of an archive.

    Evidence counts from the last work on a piece onward, since work changes its radius; a
    contact of the two with each other, from the last work on either.

    Parameters
    ----------
    convex, concave : Surface
        Surfaces that were loaded.
    contact_u_fringes : float
        Standard uncertainty of each contact besides its reading's own: temperature, form of
        the plate [fringe].
    contact_common_u_fringes : float, optional
        The part of it that all contacts of the same two pieces share; see `Handling`.
    proven : bool
        Open and prove every session of both, for a report; else only those that count as
        evidence.
    tell : callable or None
        Told of each surface how many sessions of how many are proven.

    Returns
    -------
    PairRecord

    Raises
    ------
    BadInput
        If the two are of one form, or have one name.
    """
    handling = Handling.of(contact_u_fringes, contact_common_u_fringes)
    if (convex.form, concave.form) == ("concave", "convex"):
        convex, concave = concave, convex
    if convex.form == concave.form:
        raise BadInput(
            f"{convex.name} and {concave.name} are both {convex.form}; a pair is one of each"
        )
    if convex.name == concave.name:
        raise BadInput(f"both surfaces are named {convex.name!r}; a pair needs two names")
    found = _Found({one.name: _piece(one) for one in (convex, concave)})
    if proven:
        for one, other in ((convex, concave), (concave, convex)):
            found.proofs[one.name] = _prove(one, other, tell)
    current = {one.name: _current(one, found) for one in (convex, concave)}
    found.notes += dict.fromkeys(line for one in (convex, concave) for line in plate_notes(one))
    for one, other in ((convex, concave), (concave, convex)):
        _add_plate(one, found)
        for summary in current[one.name]:
            _add_session(one, other, summary, current[other.name], found)
    irregularity = combine(found.irregularity) if found.irregularity else None
    once = distinct(found.layings, found.before)
    contacts, unknown = contacts_of(once.layings, handling)
    return PairRecord(
        found.pieces[convex.name],
        found.pieces[concave.name],
        tuple(p for name, p in found.pieces.items() if name not in (convex.name, concave.name)),
        contacts,
        tuple(found.sagittas),
        None
        if irregularity is None or irregularity.irregularity_fringes is None
        else (irregularity.irregularity_fringes, irregularity.irregularity_u_fringes),
        found.zones,
        (*found.notes, *once.notes, *unknown),
        tuple(sorted(found.when)),
        tuple(found.proofs.values()),
        once.conflicts,
    )


def _prove(one: Surface, other: Surface, tell: Tell | None) -> Proof:
    return prove(one, lambda session: bool(laid_on(session, one, other)), tell)


def _piece(surface: Surface) -> Piece:
    return Piece(surface.name, surface.form, surface.radius_mm, surface.diameter_mm)


def _current(surface: Surface, found: _Found) -> list[SessionSummary]:
    """Sessions from the last work on, in their order."""
    visits = found.survey(surface)
    found.notes += visits.problems
    start = 0
    for i, one in enumerate(visits.sessions):
        found.visits[one.session_id] = one.number
        if one.work.worked:
            start = i
    read = [one for one in visits.sessions[:start] if one.measured]
    for earlier in visits.sessions[:start]:
        for measured in earlier.measured:
            found.before.setdefault(
                measured.photograph, f"visit {earlier.number} of {surface.name}"
            )
    if read:
        count = "one visit" if len(read) == 1 else f"{len(read)} visits"
        found.notes.append(f"{surface.name}: {count} from before the last work left out")
    return list(visits.sessions[start:])


def _plate_name(surface: Surface) -> str:
    return surface.plate.name or f"plate of {surface.name}"


def _add_plate(surface: Surface, found: _Found) -> None:
    """The plate with its certificate, unless it is the other one of the pair."""
    name = _plate_name(surface)
    if name in found.pieces:
        return
    assert surface.folder is not None
    record = record_if_any(surface.folder.parent, "plate", name) if surface.plate.name else None
    certified, u = surface.plate.radius_mm, surface.plate.radius_u_mm
    if certified is None and record is not None:
        certified, u = record["radius_mm"], record.get("u_radius_mm")
    found.pieces[name] = Piece(
        name, other_form(surface.form), surface.plate_radius_mm, None, certified, u
    )


def _add_session(
    one: Surface,
    other: Surface,
    summary: SessionSummary,
    partner_sessions: Sequence[SessionSummary],
    found: _Found,
) -> None:
    if not summary.measured:
        return
    try:
        session = found.session(one, summary.place)
    except BadInput as error:
        found.notes.append(str(error))
        return
    before = len(found.layings) + len(found.sagittas)
    when = f"{summary.when:%Y-%m-%d}"
    earlier = [each.label for each in found.layings if each.work == one.name]
    earlier += [each.label for each in found.sagittas if each.work == one.name]
    if any(when in label for label in earlier):  # twice on one day
        when = f"{summary.when:%Y-%m-%d %H:%M}"
    fringes = [m for m in summary.measured if m.source != "spherometer"]
    for partner in dict.fromkeys(m.against for m in fringes):
        on = partner or _plate_name(one)
        read = [m for m in fringes if m.against == partner]
        label = f"{one.name} on {on}, {when}"
        if on == other.name and not _unchanged(summary, partner_sessions):
            found.notes.append(f"{label}: left out, {other.name} was worked since")
        elif on not in found.pieces:
            found.notes.append(f"{label}: left out, {on} is no piece of this pair")
        else:
            visit = found.visits[summary.session_id]
            made = Laying(label, one.name, on, visit, one.diameter_mm, ())
            _add_layings(made, read, session, found)
            if on == other.name:
                found.irregularity += [m for m in read if m.irregularity_fringes is not None]
    _add_spherometer(one, session, f"spherometer, {when}", found)
    _add_zones(one, session, found)
    if len(found.layings) + len(found.sagittas) > before:
        found.when.append(summary.when)


def _add_layings(made: Laying, read: Sequence[Measured], session: Session, found: _Found) -> None:
    for source in dict.fromkeys(m.source for m in read):
        method = "eye" if source == "eye" else "photograph"
        lamps = [r.lamp for r in session.visit.readings if r.method == method and r.lamp]
        found.layings.append(
            dataclasses.replace(
                made,
                label=made.label if source == "fringes" else f"{made.label}, by eye",
                read=tuple(m for m in read if m.source == source),
                lamp=next(iter(lamps), None),
            )
        )


def _unchanged(summary: SessionSummary, partner_sessions: Sequence[SessionSummary]) -> bool:
    """Whether the partner was not worked after this visit."""
    if not partner_sessions or not partner_sessions[0].work.worked:
        return True
    return partner_sessions[0].when <= summary.when


def _add_spherometer(one: Surface, session: Session, label: str, found: _Found) -> None:
    by_piece = {kept.piece: kept for kept in session.visit.spherometers}
    result = compared(session.surface, session.visit.spherometers)
    if result is None:
        return
    from fringe.archive.instruments import spherometer_from_record

    work, plate = by_piece["work"], by_piece["plate"]
    gauge = spherometer_from_record(work.geometry) if work.geometry else None
    name = str(work.geometry.get("name", "")) if work.geometry else ""
    readings = SpherometerReadings(
        tuple(map(float, plate.height_mm)),
        tuple(map(float, work.height_mm)),
        tuple(map(float, work.zero_mm)),
        0.0,
    )
    sign_plate, sign_work = reading_signs(readings, [])
    u = _sagitta_u(result.depth_um.rows, work, gauge)
    found.sagittas.append(
        Sagittas(
            f"{name or 'spherometer'}, {label.split(', ', 1)[1]}",
            one.name,
            _plate_name(one),
            result.work_sagitta_um,
            result.plate_sagitta_um,
            u["work"],
            u["plate"],
            u["zero"],
            # without written signs, an error of the zero still moves the two opposite ways
            (-sign_work, -(sign_plate if sign_plate != sign_work else -sign_work)),
            gauge,
            name,
        )
    )


def _sagitta_u(
    rows: Sequence[object], work: LoggedSpherometer, gauge: Spherometer | None
) -> dict[str, float]:
    """Standard uncertainties of the two readings and of the zero [um], scatter included."""
    from fringe.judge.uncertainty.budget import Row

    u_reading = work.options.get("u_reading_mm")
    drift = float(work.options.get("u_drift_mm", 0.0))
    if u_reading is None:
        u_reading = (gauge.u_reading_mm if gauge is not None else None) or 0.0
    inputs = {row.input.name: row.input for row in rows if isinstance(row, Row)}
    found = {}
    for piece in ("work", "plate", "zero"):
        scatter = inputs.get(f"repeatability, {piece}")
        extra = 0.0
        if scatter is not None:
            extra = standard(half_width(scatter.u, scatter.dof))
        # a gauge's drift moves both pieces as an error of the zero does
        moved = drift if piece == "zero" else 0.0
        found[piece] = 1e3 * math.hypot(float(u_reading), moved, extra)
    # a reading that nothing is known of is no better than the finest gauges are
    return {piece: max(u, 0.01) for piece, u in found.items()}


def _add_zones(one: Surface, session: Session, found: _Found) -> None:
    parts: list[Placed] = []
    for logged in session.visit.readings:
        if logged.aperture_mm is None or logged.against is not None:
            continue
        bench = bench_of(
            session.surface,
            session.visit.instruments,
            aperture_mm=logged.aperture_mm,
            options=logged.options,
        )
        measured = logged_measured(logged, bench)
        if measured.photograph in {each.measured.photograph for each in parts} - {""}:
            continue
        parts.append(Placed(measured, logged.aperture_mm, logged.place_mm))
    if not parts:
        return
    limit = session.surface.tolerance.irregularity_fringes
    placed = carry_parts(parts, surface_aperture(session.surface), limit)
    if placed is not None:
        found.zones[one.name] = placed[0]


def load_pair(convex: str, concave: str) -> tuple[Surface, Surface]:
    """Find the two surfaces of a pair by ``ARCHIVE/NAME``, in either order."""
    from fringe.archive.store.surface import find_surface

    first, second = find_surface(convex), find_surface(concave)
    if _same(first.folder, second.folder):
        raise BadInput(f"{convex} and {concave} are one surface; a pair is two")
    if first.form == "concave" and second.form == "convex":
        return second, first
    return first, second


def _same(first: Path | None, second: Path | None) -> bool:
    return first is not None and second is not None and first.resolve() == second.resolve()

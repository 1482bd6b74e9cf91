"""Plates of an archive that hang together, and their radii from all records and visits at once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path

from fringe.archive.instruments import Instrument, list_instruments
from fringe.archive.plates.form import finish_form
from fringe.archive.plates.state import PlateEvidence, PlateState, by_record, of_record
from fringe.archive.plates.visits import PlateLog, PlateVisit, plate_log
from fringe.errors import BadInput
from fringe.format import plus_minus
from fringe.judge.pair.contacts import Contact, Piece
from fringe.judge.pair.layings import Handling, contacts_of, distinct
from fringe.judge.plates.evidence import PlateCertificate, PlateSagitta, standing
from fringe.judge.plates.network import PlateRadii, plate_radii
from fringe.quantity import half_width_if_any

# what each contact errs by besides its reading, as between the pieces of a pair [fringe]
CONTACT_U_FRINGES = 0.05


class Plates:
    """All plates of an archive with their visits, each read once.

    Parameters
    ----------
    archive : Path

    Raises
    ------
    BadInput
        If there is no such archive, or a record is damaged.
    """

    def __init__(self, archive: Path) -> None:
        self._records = {one.name: one for one in list_instruments(archive, "plate")}
        self._logs = {
            name: log
            for name, one in self._records.items()
            if (log := plate_log(archive, one)) is not None
        }
        for log in self._logs.values():
            finish_form(archive, log)
        self._solved: dict[str, _Group] = {}

    @property
    def names(self) -> tuple[str, ...]:
        """Of the plates on record."""
        return tuple(self._records)

    def state(self, name: str) -> PlateState:
        """What is known of one of them."""
        plate, log = self._records[name], self._logs.get(name)
        group = self._group(name)
        if group is None:
            return by_record(plate, log)
        return group.state(plate, log)

    def _group(self, name: str) -> _Group | None:
        """Plates that are tied to one by contacts or by a spherometer, with that one."""
        if name not in self._solved:
            names = _joined(name, self._ties)
            group = _Group(
                [one for key, one in self._records.items() if key in names],
                [log for key, log in self._logs.items() if key in names],
            )
            self._solved |= dict.fromkeys(names, group)
        found = self._solved[name]
        return found if found.measured or found.notes or found.problems else None

    @cached_property
    def _ties(self) -> list[set[str]]:
        ties = []
        gauges: dict[str, set[str]] = {}
        for name, log in self._logs.items():
            for visit in log.visits:
                ties += [{name, one.other} & set(self._records) for one in visit.layings()]
                for one in visit.session.visit.spherometers:
                    gauges.setdefault(str(one.geometry.get("name", "")), set()).add(name)
        return [*ties, *gauges.values()]


def _joined(name: str, ties: Iterable[set[str]]) -> set[str]:
    """All that hangs together with one, by these ties."""
    found, before = {name}, 0
    while len(found) > before:
        before = len(found)
        found |= {other for tie in ties if tie & found for other in tie}
    return found


class _Group:
    """Plates that hang together, and the estimate of their radii."""

    def __init__(self, plates: Sequence[Instrument], logs: Sequence[PlateLog]) -> None:
        self._plates = {one.name: one for one in plates}
        self.problems: list[str] = []
        self.notes: list[str] = []
        visits = [visit for log in logs for visit in log.visits]
        self.certificates = [of_record(one) for one in plates]
        self.sagittas: list[PlateSagitta] = []
        for visit in visits:
            try:
                given = visit.certificate()
                self.sagittas += visit.sagittas()
            except BadInput as error:
                self.problems.append(f"{visit.label}: {error}")
            else:
                self.certificates += [] if given is None else [given]
        self.contacts = self._contacts(visits)
        own = [one for one in self.certificates if one.visit is not None]
        self.measured = bool(own or self.sagittas or self.contacts)
        self.radii = self._radii() if self.measured else None

    def _contacts(self, visits: Sequence[PlateVisit]) -> tuple[Contact, ...]:
        layings = [one for visit in visits for one in visit.layings()]
        for one in layings:
            if one.other not in self._plates:
                self.notes.append(f"{one.visit_text}: left out, {one.other} is no plate on record")
        known = [one for one in layings if one.other in self._plates]
        once = distinct(known, {})
        contacts, unknown = contacts_of(once.layings, Handling.of(CONTACT_U_FRINGES))
        self.notes += [*(one.text for one in once.conflicts), *once.notes, *unknown]
        forms = {name: one.values["form"] for name, one in self._plates.items()}
        return tuple(one for one in contacts if forms[one.work] != forms[one.other])

    def _radii(self) -> PlateRadii | None:
        pieces = [
            Piece(name, one.values["form"], one.values["radius_mm"], one.values.get("diameter_mm"))
            for name, one in self._plates.items()
        ]
        try:
            return plate_radii(pieces, self.certificates, self.sagittas, self.contacts)
        except BadInput as error:
            self.problems.append(str(error))
            return None

    def state(self, plate: Instrument, log: PlateLog | None) -> PlateState:
        """What is known of one of them."""
        base = by_record(plate, log, self.certificates)
        lines = (*base.problems, *self.problems)
        name = plate.name
        if self.radii is None or not self.radii.known(name):
            return replace(base, problems=lines, notes=tuple(self.notes))
        radius, u = self.radii.radius(name)
        evidence = tuple(self._evidence(name, self.radii))
        if len(evidence) == 1 and evidence[0].visit is None:  # nothing but its record
            return replace(base, problems=lines, notes=tuple(self.notes))
        held = self.radii.held
        return replace(
            base,
            radius_mm=radius,
            u_mm=u,
            by="visits",
            evidence=evidence,
            chi2=held.chi2,
            dof=held.dof,
            probability=held.probability,
            contradictions=held.contradictions,
            birge_ratio=self.radii.birge_ratio,
            widened=self.radii.widened(name),
            problems=lines,
            notes=tuple(self.notes),
        )

    def _evidence(self, name: str, found: PlateRadii) -> Iterable[PlateEvidence]:
        off = {
            (one.evidence.surface, one.evidence.visit, one.evidence.name): one.off
            for one in found.held.judged
        }
        stand = standing(self.certificates)
        for one in self.certificates:
            if one.plate == name:
                counts = one in stand and bool(one.u_mm)
                yield PlateEvidence(
                    "certificate",
                    one.visit,
                    name,
                    _certificate_text(one, superseded=one not in stand),
                    counts,
                    off.get((name, one.visit, one.label)) if counts else None,
                )
        for sagitta in self.sagittas:
            if sagitta.plate == name:
                value, u = sagitta.radius()
                shown = plus_minus(value, half_width_if_any(u), "mm", digits=7)
                text = f"by {sagitta.spherometer.name}: {shown}"
                yield PlateEvidence(
                    "spherometer",
                    sagitta.visit,
                    name,
                    text,
                    off=off.get((name, sagitta.visit, sagitta.label)),
                )
        for contact in self.contacts:
            if name in (contact.work, contact.other):
                other = contact.other if contact.work == name else contact.work
                shown = plus_minus(
                    contact.power_fringes, half_width_if_any(contact.u_fringes), signed=True
                )
                text = f"on {other}: {shown} fringes over {contact.diameter_mm:g} mm"
                yield PlateEvidence(
                    "contact",
                    contact.visit,
                    contact.work,
                    text,
                    off=off.get((contact.work, contact.visit, contact.label)),
                )


def _certificate_text(one: PlateCertificate, *, superseded: bool) -> str:
    parts = [plus_minus(one.radius_mm, half_width_if_any(one.u_mm), "mm", digits=7)]
    parts += [f"of {one.on}"] if one.on else []
    parts += [f"by {one.by}"] if one.by else []
    parts += ["superseded"] if superseded else []
    parts += ["without uncertainty, does not count"] if not superseded and not one.u_mm else []
    return ", ".join(parts)

"""A plate's own visits and what is known by them, in rows of text."""

from __future__ import annotations

from datetime import date

from fringe.archive.plates.state import PlateEvidence, PlateState, PlateVisitRow, visit_rows
from fringe.archive.views.plate_surfaces import Adopted, Hanging, HangingVisit
from fringe.archive.views.plate_visit import LoggedPlateVisit
from fringe.format import figures, plus_minus
from fringe.judge.tolerance.verdict_words import probability_cell
from fringe.quantity import half_width_if_any
from fringe.show.text.instrument import map_rows
from fringe.show.text.lines import line, remark, wrapped_line

# beyond so many standard uncertainties a piece of evidence is marked
_FAR = 2.0
_DATED = 23  # width of a visit's number and time


def logged_rows(logged: LoggedPlateVisit) -> list[str]:
    """Number of the visit, the radius before and now, and where it is kept."""
    done = "struck out" if logged.visit.struck else "corrected" if logged.visit.replaces else ""
    head = " ".join(filter(None, [f"plate {logged.before.name}, visit {logged.number}", done]))
    rows = [head]
    before, after = logged.before, logged.after
    if after is not None:
        if after.changed_from(before.radius_mm, before.u_mm):
            rows.append(line("radius before", before.radius_text))
        rows.append(line("radius", after.radius_text))
        rows += _agreement(after)
        rows += _due(after)
        if after.known_map is not None:
            rows += map_rows(after.known_map)
    rows.append(line("file", str(logged.path)))
    notes = [*logged.assumed, *(() if after is None else after.notes)]
    return rows + [remark(note) for note in notes]


def plate_rows(state: PlateState, today: date) -> list[str]:
    """Radius and form, the evidence for them, and all visits."""
    how = "by its record" if state.by == "record" else "by all below"
    rows = [f"plate {state.name}, {state.form}", line("radius", f"{state.radius_text}, {how}")]
    rows += _agreement(state)
    rows += _due(state)
    rows += [] if state.known_map is None else map_rows(state.known_map)
    if state.evidence:
        rows.append("evidence on the radius")
        rows += [_evidence(one, state.name) for one in state.evidence]
    visits = visit_rows(state)
    if visits:
        rows.append("visits")
        rows += [_visit(one) for one in visits]
    late = state.overdue(today)
    notes = [*([late] if late else []), *state.notes]
    return rows + [remark(note) for note in notes]


def _agreement(state: PlateState) -> list[str]:
    """How the evidence hangs together, by chi-square."""
    if state.chi2 is None or state.probability is None or not state.dof:
        return []
    probable = probability_cell(state.probability)
    shown = f"chi-square {figures(state.chi2, 3)} of {state.dof}, {probable} probable"
    rows = [line("agreement", shown)]
    rows += [wrapped_line("", text) for text in state.contradictions]
    if state.widened > 1.0:
        more = state.widened > 1.01 * state.birge_ratio
        why = "it covers the radius without whichever is wrong" if more else "Birge ratio"
        text = f"so the uncertainty is {figures(state.widened, 2)} times what the evidence says"
        text = f"{text} ({why})"
        rows.append(wrapped_line("", text))
    return rows


def _due(state: PlateState) -> list[str]:
    rows = [] if state.certified is None else [line("certified", state.certified.isoformat())]
    return rows + ([] if state.due is None else [line("due again", state.due.isoformat())])


def _evidence(one: PlateEvidence, name: str) -> str:
    whose = "record" if one.visit is None else f"visit {one.visit}"
    whose += "" if one.plate == name else f" of {one.plate}"
    far = one.off is not None and abs(one.off) > _FAR
    off = f", {abs(one.off or 0.0):.1f} u from the rest" if far else ""
    return wrapped_line(whose, f"{one.kind} {one.text}{off}")


def _visit(one: PlateVisitRow) -> str:
    what = "struck out" if one.struck else ", ".join(one.kinds) or "remark"
    parts = [what, "corrected" if one.corrected and not one.struck else "", one.remark or ""]
    text = "; ".join(filter(None, parts))
    return wrapped_line(f"{one.number:>3}  {one.when}", text, _DATED)


def hanging_rows(found: Hanging) -> list[str]:
    """The surfaces that hang on a plate; of each its last visit, as judged and with the radius."""
    rows = [f"plate {found.state.name}, {found.state.radius_text}"]
    if not found.surfaces:
        return [*rows, "no surface hangs on it"]
    for one in found.surfaces:
        plate = one.surface.plate
        kept = "the nominal radius"
        if plate.radius_mm is not None:
            u95 = half_width_if_any(plate.radius_u_mm)
            kept = plus_minus(plate.radius_mm, u95, "mm", digits=7)
        mark = "! " if one.outdated else ""
        rows.append(f"{mark}{one.surface.name}, judged with {kept}")
        if one.visits:
            count = ", ".join(map(str, one.visits))
            rows.append(wrapped_line("visits on it", count))
        if one.then is not None and one.now is not None:
            rows.append(wrapped_line(f"visit {one.then.number} then", _hanging(one.then)))
            rows.append(wrapped_line(f"visit {one.now.number} now", _hanging(one.now)))
    return rows


def _hanging(one: HangingVisit) -> str:
    """Radius and verdicts of a visit, in words."""
    parts = [one.state or "no verdict"]
    if one.radius_mm is not None:
        shown = plus_minus(one.radius_mm, half_width_if_any(one.radius_u_mm), "mm", digits=7)
        parts.append(f"radius {shown}")
    if one.radius_state is not None:
        parts.append(f"which is {one.radius_state} by the nominal one's tolerance")
    return ", ".join(parts)


def adopted_rows(found: Adopted) -> list[str]:
    """The surfaces that got a plate's radius."""
    if not found.surfaces:
        return [f"every surface on plate {found.state.name} has {found.state.radius_text} already"]
    names = ", ".join(f"{one.name} (record {one.version})" for one in found.surfaces)
    return [f"{found.state.radius_text} is the radius of plate {found.state.name} for {names}"]

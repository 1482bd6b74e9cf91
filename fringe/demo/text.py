"""What a run of the example says: a line a visit, then what it left. Lines are styled parts."""

from __future__ import annotations

from collections.abc import Iterator

from fringe.demo.outcome import Demo, FinishedSurface, Logged
from fringe.format import capital, plus_minus
from fringe.judge.pair.next_step import mismatch_text, together_text
from fringe.judge.tolerance.verdict_words import PAIR, probability_cell
from fringe.quantity import half_width, half_width_if_any

Line = list[tuple[str, str]]  # texts, each with the style that it is shown in
_COLOURS = {"inside": "green", "unproven": "yellow", "outside": "red"}


def logged_lines(event: Logged) -> Iterator[Line]:
    """What there is to say of a visit; before a surface's first one, what is being made."""
    if event.number == 1:
        yield []
        yield _made_line(event)
    row = event.row
    state = row.verdict or ""
    colour = _COLOURS.get(state, "")
    start = f"{event.number:>3}  {_work(event):<28}{_result(event):<25}"
    shown, ahead = f"{state if colour else '':<9}", event.next_step.short()
    if colour:
        yield [(start, ""), (shown, colour), (ahead, "")]
    else:
        yield [(f"{start}{shown}{ahead}".rstrip(), "")]
    if event.settled is not None:
        end = event.settled.power_fringes
        power = plus_minus(end.value, end.u95, "fringes", signed=True)
        yield [(f"{'':5}{'by its drift, settled':<28}{power}", "")]


def end_lines(demo: Demo) -> Iterator[Line]:
    """The verdicts, whether the pair matches, and what to look at first."""
    for made in demo.surfaces:
        yield []
        yield from ([(text, "")] for text in _verdict(made))
    yield []
    answer, *evidence = _pair(demo)
    yield [(answer, "bold")]
    yield from ([(text, "")] for text in evidence)
    yield []
    for label, path, what in (
        ("look first at", demo.look_first, "in a browser: verdict, evidence, history of both"),
        ("then at", demo.overlays[0].parent, "the lines must lie on the dark fringes"),
        ("the record", demo.archive, "a folder a surface, a file a visit"),
        ("and now", demo.guide, "what to type next"),
    ):
        yield [(f"{label:<15}{path}", "")]
        yield [(f"{'':15}{what}", "dim")]


def _made_line(event: Logged) -> Line:
    surface, plate = event.surface, event.surface.plate
    limit = surface.tolerance.power_fringes or 0.0
    u95 = half_width_if_any(plate.radius_u_mm)
    radius = plus_minus(surface.plate_radius_mm, u95, "mm", digits=7)
    rest = f", laid on {plate.name or ''} of {radius}, to ±{limit:.3g} fringes"
    return [(surface.name, "bold"), (rest, "")]


def _work(event: Logged) -> str:
    row = event.row
    if row.stage is None:
        return "no work since"
    on_top = f", {row.on_top} on top" if row.on_top else ""
    return f"{row.stage} {row.minutes or 0:g} min{on_top}"


def _result(event: Logged) -> str:
    row, sag = event.row, event.sag
    if sag is not None:
        depth = plus_minus(abs(sag.depth_um.value), sag.depth_um.u95, "µm")
        return f"{depth} {sag.state.removeprefix('too ')}"
    if row.power_fringes is None:
        return ""
    signed = row.sense != "unknown"
    return plus_minus(row.power_fringes, row.power_u95_fringes, "fringes", signed=signed)


def _verdict(made: FinishedSurface) -> Iterator[str]:
    radius = plus_minus(made.radius_mm, half_width(made.radius_u_mm), "mm", digits=7)
    yield f"{made.surface.name}: {made.verdict.state}, radius {radius}"
    for part in made.verdict.parts:
        yield f"  {part.reason}"


def _pair(demo: Demo) -> Iterator[str]:
    """Say whether the pair matches, by all evidence on both."""
    first, second = demo.surfaces[-2:]
    limit = second.surface.tolerance.power_fringes or 0.0
    yield (
        f"{capital(PAIR[demo.pair.state])}: {second.surface.name} "
        f"on {first.surface.name}, {demo.pair.state} the ±{limit:.3g} fringes of the system."
    )
    found = demo.judged_pair.pair
    yield f"  {mismatch_text(found)}, {probability_cell(demo.pair.probability)} probable to conform"
    yield f"  laid together {together_text(found)}"

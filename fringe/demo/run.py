"""Go through the example: instruments, visits, verdicts, pictures and reports."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path

from fringe.archive.instruments import (
    add_instrument,
    instrument_record,
    record_if_any,
    spherometer_from_record,
)
from fringe.archive.store.session import LoggedSpherometer, Visit
from fringe.archive.store.surface import Plate, Surface, add_surface
from fringe.archive.views.judged_pair import JudgedPair, judged_pair
from fringe.archive.views.logged_visit import log_and_judge
from fringe.archive.views.photographs import load_photograph, logged
from fringe.archive.views.reading_options import stated_options
from fringe.archive.views.sagittas import sagitta_readings
from fringe.archive.views.surface_state import surface_state
from fringe.demo.folder import built
from fringe.demo.guide import GUIDE, guide_text
from fringe.demo.outcome import Demo, FinishedSurface, Logged, RunStatus
from fringe.demo.reports import Page, write_reports
from fringe.demo.scenario import PHOTOGRAPHS, Scenario, SurfaceSpec, VisitSpec, load_scenario
from fringe.errors import BadInput
from fringe.files import copy_whole, write_whole
from fringe.judge.settling.powers import settling_powers
from fringe.judge.settling.settle import SHARE, Settled, settle, with_common
from fringe.judge.spherometer.compare import SagResult
from fringe.judge.state.visits import VisitRow, Work
from fringe.judge.tolerance.system import load_system, system_tolerance
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.lamps import lamp
from fringe.orders.options import ReadOptions, StatedOptions
from fringe.orders.read import read
from fringe.orders.reading import Reading
from fringe.parallel import in_order, shared_pool
from fringe.photo.ellipse import Edge
from fringe.photo.load import load_photo
from fringe.quantity import standard
from fringe.show.figures.course import course_figure
from fringe.show.figures.overlay import overlay_figure
from fringe.show.figures.pair import pair_figure
from fringe.show.figures.settle import settle_figure
from fringe.show.figures.style import png_bytes

PICTURES = "pictures"
PAIR_PICTURE, PAIR_REPORT = "pair.png", "pair.html"
OVERLAY_DPI = 160.0  # as many dots as the photographs have
BY_HAND_PX = 0.5  # standard uncertainty of an edge read off in a picture viewer

OnEvent = Callable[[RunStatus | Logged], None]


def run_demo(
    out: Path, *, scenario: Scenario | None = None, on_event: OnEvent | None = None
) -> Demo:
    """Run the whole example.

    Parameters
    ----------
    out : Path
        Folder to make; one that an earlier run made is replaced.
    scenario : Scenario or None
        None takes the shipped one.
    on_event : callable or None
        Called with the progress of the run, and with each visit when it is logged.

    Returns
    -------
    Demo

    Raises
    ------
    BadInput
        If the folder may not be replaced or cannot be written.
    Refused
        If a photograph carries no reading; then nothing is left behind.
    """
    story = load_scenario() if scenario is None else scenario
    with built(out) as work, shared_pool() as pool:
        run = _Run(story, work, on_event or (lambda event: None), pool)
        surfaces = [run.make(spec) for spec in story.surfaces]
        reports = run.reports(surfaces)  # the pool makes them while the match is judged here
        found = run.match(surfaces)
        run.wait_for(reports)
        write_whole(work / GUIDE, guide_text(story, PAIR_REPORT).encode())
    return _moved(story, out, work, surfaces, found)


@dataclass(frozen=True)
class _Task:
    """One photograph to read and draw, in whichever process."""

    path: Path
    options: ReadOptions
    surface: str
    when: str


class _Run:
    """The state of a run: where it writes, and how far it is."""

    def __init__(
        self, scenario: Scenario, folder: Path, on_event: OnEvent, pool: Executor | None
    ) -> None:
        self.scenario, self.folder, self.on_event = scenario, folder, on_event
        self.pool = pool
        self.archive = folder / scenario.archive
        visits = sum(len(one.visits) for one in scenario.surfaces)
        # a photograph takes longer than all else of a visit; a report about as long
        self.total = visits + scenario.photographs + 2 * len(scenario.surfaces) + 2
        self.done = 0
        self.pieces: dict[str, Plate] = {}
        self._put_instruments_on_record()

    def _put_instruments_on_record(self) -> None:
        story = self.scenario
        for folder in (PHOTOGRAPHS, PICTURES):
            (self.folder / folder).mkdir()
        add_instrument(self.archive, "plate", story.plate_name, story.plate)
        add_instrument(self.archive, "spherometer", story.spherometer_name, story.spherometer)
        distance = {"distance_mm": story.camera_distance_mm}
        add_instrument(self.archive, "camera", story.camera_name, distance)
        plate = story.plate
        self.pieces[story.plate_name] = Plate(
            story.plate_name, plate["radius_mm"], plate["u_radius_mm"]
        )

    def make(self, spec: SurfaceSpec) -> FinishedSurface:
        """Log all visits to a surface, then draw and report it."""
        surface = add_surface(self.archive, self._record(spec))
        readings = self._readings(spec, surface)
        for number, visit in enumerate(spec.visits, 1):
            spherometers, sag = self._sagittas(visit, surface)
            logged = self._visit(visit, surface, readings, spherometers)
            found = log_and_judge(surface, logged, sag).state
            settled = self._settled(visit, surface, [one.reading for one in logged.readings])
            self.on_event(Logged(surface, number, found.rows[-1], sag, settled, found.next_step))
            self._step(surface.name)
        return self._finished(surface)

    def _record(self, spec: SurfaceSpec) -> Surface:
        light = lamp(spec.lamp)
        power = spec.tolerance_power
        if power is None:
            allowed = system_tolerance(load_system(self.scenario.system), light.wavelength_nm)
            assert allowed.match is not None
            power = allowed.match.tolerance().power_fringes
        return Surface(
            spec.name,
            spec.form,
            spec.radius_mm,
            spec.diameter_mm,
            plate=self.pieces[spec.against],
            tolerance=Tolerance(
                power, spec.tolerance_irregularity, wavelength_nm=light.wavelength_nm
            ),
            lamp=spec.lamp,
            glass=spec.glass,
            note=spec.note,
        )

    def _readings(self, spec: SurfaceSpec, surface: Surface) -> Iterator[Reading]:
        """Read a surface's photographs, all at once on several processors; draw each."""
        tasks = [
            _Task(
                self.scenario.photograph(one),
                self._options(visit, surface, one.edge),
                surface.name,
                f"{visit.when:%Y-%m-%d %H:%M}",
            )
            for visit in spec.visits
            for one in visit.photographs
        ]
        results = in_order(_read_and_draw, tasks, pool=self.pool)
        for task in tasks:
            self._say(f"reading {task.path.name}")
            reading, picture = next(results)
            copy_whole(task.path, self.folder / PHOTOGRAPHS / task.path.name)
            write_whole(self.folder / PICTURES / f"{task.path.stem}.png", picture)
            self.done += 1
            yield reading

    def _options(
        self, visit: VisitSpec, surface: Surface, edge: tuple[float, float, float] | None = None
    ) -> ReadOptions:
        stated = StatedOptions(
            lamp=visit.lamp,
            camera=self.scenario.camera_name,
            edge="auto" if edge is None else Edge(*edge, edge[2], u_px=BY_HAND_PX),
            sense=visit.sense,
        )
        return stated_options(surface, stated)

    def _sagittas(
        self, visit: VisitSpec, surface: Surface
    ) -> tuple[tuple[LoggedSpherometer, ...], SagResult | None]:
        if not visit.work_mm:
            return (), None
        record = self._spherometer()
        one = spherometer_from_record(record)
        return sagitta_readings(
            surface,
            visit.plate_mm,
            visit.work_mm,
            (),
            record=record,
            u_reading_mm=one.u_reading_mm or 0.0,
        )

    def _spherometer(self) -> dict[str, object]:
        return instrument_record(self.archive, "spherometer", self.scenario.spherometer_name)

    def _visit(
        self,
        spec: VisitSpec,
        surface: Surface,
        readings: Iterator[Reading],
        spherometers: tuple[LoggedSpherometer, ...],
    ) -> Visit:
        photographs = [load_photograph(self.scenario.photograph(one)) for one in spec.photographs]
        made = [
            logged(next(readings), (number,), self._options(spec, surface, one.edge))
            for number, one in enumerate(spec.photographs, 1)
        ]
        names = [f"{PHOTOGRAPHS}/{one.file}" for one in spec.photographs]
        return Visit(
            when=spec.when,
            remarks=spec.remark,
            work=Work(
                spec.stage,
                spec.minutes,
                spec.on_top,
                pits=spec.pits,
                rested_minutes=spec.rested,
            ),
            temperature_c=spec.temperature_c,
            readings=tuple(made),
            photographs=tuple(photographs),
            spherometers=spherometers,
            inputs={"photographs": names} if names else {},
            instruments=self._instruments(surface, spec),
        )

    def _settled(
        self, visit: VisitSpec, surface: Surface, readings: Sequence[Reading]
    ) -> Settled | None:
        """Foretell where a piece settles that was photographed three times or more; draw it."""
        if len(readings) < 3:
            return None
        minutes = [one.after_minutes for one in visit.photographs]
        powers = settling_powers(readings)
        limit = SHARE * (surface.tolerance.power_fringes or 0.0)
        found = settle(minutes, powers.powers_fringes, powers.u_fringes, limit_fringes=limit)
        found = with_common(found, powers.common_u_fringes)
        figure = settle_figure(
            minutes,
            powers,
            found,
            surface_name=surface.name,
            diameter_mm=surface.diameter_mm,
            when=f"{visit.when:%Y-%m-%d %H:%M}",
        )
        picture = self.folder / PICTURES / f"{_stem(surface)}-settling.png"
        write_whole(picture, png_bytes(figure))
        return found

    def _instruments(self, surface: Surface, spec: VisitSpec) -> dict[str, object]:
        """Copies of the records of what was used."""
        found = {"plate": record_if_any(self.archive, "plate", surface.plate.name or "")}
        if spec.work_mm:
            found["spherometer"] = self._spherometer()
        if spec.photographs:
            name = self.scenario.camera_name
            found["camera"] = instrument_record(self.archive, "camera", name)
        return {kind: record for kind, record in found.items() if record is not None}

    def _finished(self, surface: Surface) -> FinishedSurface:
        found = surface_state(surface)
        stem = _stem(surface)
        self._say(f"drawing the progress of the {surface.name}")
        picture = self.folder / PICTURES / f"{stem}-progress.png"
        write_whole(picture, png_bytes(course_figure(found)))
        self._step(surface.name)
        radius, u = _radius(surface, found.rows[-1])
        # the finished piece is what the next one is laid on
        self.pieces[surface.name] = Plate(surface.name, radius, u)
        return FinishedSurface(found, self.folder / f"{stem}.html", picture, radius, u)

    def match(self, surfaces: Sequence[FinishedSurface]) -> JudgedPair:
        """Say whether the last two match, and draw it."""
        partner, made = (one.surface for one in surfaces[-2:])
        self._say("holding the evidence on both together")
        found = judged_pair(made, partner)
        figure = pair_figure(found.pair, found.step, when=found.record.days_text())
        write_whole(self.folder / PICTURES / PAIR_PICTURE, png_bytes(figure))
        self._step("writing the reports")
        return found

    def reports(self, surfaces: Sequence[FinishedSurface]) -> Iterator[Page]:
        """Begin the report of the pair and of each surface."""
        partner, made = (one.surface for one in surfaces[-2:])
        pages = [Page(self.folder / PAIR_REPORT, made, partner)]
        pages += [Page(one.report, one.surface) for one in surfaces]
        return write_reports(pages, self.pool)

    def wait_for(self, reports: Iterator[Page]) -> None:
        """Write each report when it is made."""
        for _ in reports:
            self._step("writing the reports")

    def _step(self, doing: str) -> None:
        self.done += 1
        self._say(doing)

    def _say(self, doing: str) -> None:
        self.on_event(RunStatus(self.done, self.total, doing))


def _read_and_draw(task: _Task) -> tuple[Reading, bytes]:
    """Read a photograph, and draw the fitted fringes over it."""
    reading = read(load_photo(task.path), task.options)
    figure = overlay_figure(
        task.path,
        reading,
        title=f"{task.path.name} with the fitted dark fringes",
        surface=task.surface,
        when=task.when,
        diameter_mm=task.options.diameter_mm,
        camera_distance_mm=task.options.camera_distance_mm,
    )
    return reading, png_bytes(figure, dpi=OVERLAY_DPI)


def _stem(surface: Surface) -> str:
    return surface.name.replace(" ", "-")


def _radius(surface: Surface, row: VisitRow) -> tuple[float, float]:
    """Absolute radius of a finished surface and its standard uncertainty [mm].

    The plate's radius and the difference from it are independent: a contact does not depend
    on how well the plate's radius is known.
    """
    if row.radius_difference_mm is None or row.radius_difference_u95_mm is None:
        raise BadInput(f"{surface.name}: its last visit gives no radius")
    u_plate = surface.plate.radius_u_mm or 0.0
    u_difference = standard(row.radius_difference_u95_mm)
    return surface.plate_radius_mm + row.radius_difference_mm, math.hypot(u_plate, u_difference)


def _moved(
    story: Scenario, out: Path, work: Path, surfaces: Sequence[FinishedSurface], found: JudgedPair
) -> Demo:
    """What the run left, with the names that its files have now."""

    def now(path: Path) -> Path:
        return out / path.relative_to(work)

    made = [
        replace(
            one,
            state=replace(
                one.state, surface=replace(one.surface, folder=now(one.surface.folder or work))
            ),
            report=now(one.report),
            picture=now(one.picture),
        )
        for one in surfaces
    ]
    overlays = [
        out / PICTURES / f"{Path(photograph.file).stem}.png"
        for spec in story.surfaces
        for visit in spec.visits
        for photograph in visit.photographs
    ]
    return Demo(
        out,
        out / story.archive,
        out / GUIDE,
        story,
        tuple(made),
        tuple(overlays),
        found,
        out / PAIR_REPORT,
        out / PICTURES / PAIR_PICTURE,
    )

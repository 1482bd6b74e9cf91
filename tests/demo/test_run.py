"""The example run whole: what it leaves, what it says, and what it never touches.

One whole run is shared by all; those that run it again replace the reader by the truth.
"""

from __future__ import annotations

import json
import os
import re
import shlex
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import shown
from calling import call
from commandline import blocks
from example_readings import truth_of, visits
from example_run import Once, everything
from fringe.archive.store.order import survey
from fringe.archive.store.read import open_session
from fringe.archive.store.surface import find_surface
from fringe.demo import Demo, Logged, RunStatus, load_scenario
from fringe.demo.guide import guide_commands
from fringe.demo.photographs import true_power_fringes
from fringe.help import topic_text
from fringe.optics.form import disc_grid
from fringe.optics.lamps import lamp
from fringe.optics.spheres import power_fringes
from fringe.optics.zernike import zernike_matrix
from fringe.orders.reading import Reading
from fringe.photo.load import load_photo

SCENARIO = load_scenario()
VISITS = visits(SCENARIO)


def dark_where_the_lines_lie(path: Path, reading: Reading) -> bool:
    """Whether the photograph is darker at the fit's whole orders than anywhere else."""
    assert reading.form is not None
    assert reading.edge is not None
    u, v, _ = disc_grid(60, 180)
    u, v = 0.9 * u.ravel(), 0.9 * v.ravel()
    orders = zernike_matrix(reading.form.terms, u, v) @ reading.form.values
    x, y = reading.edge.pixels(u, v)
    light = load_photo(path).light[np.round(y).astype(int), np.round(x).astype(int)]
    eighths = np.round(8 * orders).astype(int) % 8
    return int(np.argmin([light[eighths == k].mean() for k in range(8)])) == 0


def test_the_example_reads_its_photographs_truly(
    once: Once, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every photograph's power is read within 3.3 standard uncertainties of its truth.

    The probability that an honest reading lies farther off is one in a thousand. The fitted
    lines lie on the dark fringes, and each verdict on power is the one that the truth deserves.
    README.md shows this run: its lines figure by figure, and its pictures. Where they differ and
    should, `python tests/shown.py` makes them anew.
    """
    monkeypatch.chdir(once.folder)
    demo = once.demo
    for made, spec in zip(demo.surfaces, SCENARIO.surfaces, strict=True):
        limit = made.surface.tolerance.power_fringes
        assert limit is not None
        files = survey(made.surface.folder or once.folder).sessions
        for summary, row, visit in zip(files, made.state.rows, spec.visits, strict=True):
            readings = open_session(summary.place).visit.readings
            assert len(readings) == len(visit.photographs)
            for logged, photograph in zip(readings, visit.photographs, strict=True):
                power, u95 = logged.reading.power_fringes, logged.reading.power_u95_fringes
                truth = truth_of(SCENARIO.photograph(photograph))
                assert power is not None
                assert u95 is not None
                assert power == pytest.approx(truth["power_fringes"], abs=3.3 * u95 / 1.96)
                assert logged.reading.sense == truth["sense"]
                assert dark_where_the_lines_lie(SCENARIO.photograph(photograph), logged.reading)
            settled = len(visit.photographs) == 1
            if settled:
                inside = abs(truth["power_fringes"]) < limit
                assert row.verdict == ("inside" if inside else "outside")
        assert made.radius_mm == pytest.approx(
            spec.visits[-1].truth.radius_mm, abs=3.3 * made.radius_u_mm
        )
    assert demo.pair.state == "inside"
    pictures = (*demo.overlays, demo.pair_picture, *(made.picture for made in demo.surfaces))
    for path in pictures:
        assert path.read_bytes().startswith(b"\x89PNG")
    readme = shown.README.read_text(encoding="utf-8")
    assert shown.with_demo(readme, once.printed) == readme
    for path in shown.PICTURES.glob("*.png"):
        fresh = shown.picture_bytes((demo.folder / "pictures" / path.name).read_bytes())
        assert shown.pixels_apart(path.read_bytes(), fresh) == 0, path.name


def test_it_leaves_all_that_it_names(once: Once, monkeypatch: pytest.MonkeyPatch) -> None:
    """Archive, reports, pictures and guide lie where the summary says, and nothing beside them."""
    monkeypatch.chdir(once.folder)
    named = once.demo.to_json()
    for path in (named["archive"], named["guide"], named["look_first"], *named["overlays"]):
        assert Path(path).exists()
    for one in named["surfaces"]:
        assert one["name"] in Path(one["report"]).read_text(encoding="utf-8")
        assert one["name"] in Path(named["look_first"]).read_text(encoding="utf-8")
        assert Path(one["progress_picture"]).is_file()
        assert find_surface(one["folder"]).name == one["name"]
    assert os.listdir() == ["demo"]


def test_the_record_holds_what_was_written_down(demo: Demo) -> None:
    """Each visit in the archive has its time, work, spherometer, photographs and remark."""
    for made, spec in zip(demo.surfaces, SCENARIO.surfaces, strict=True):
        assert made.surface.folder is not None
        found = survey(made.surface.folder)
        assert found.problems == ()
        for summary, visit in zip(found.sessions, spec.visits, strict=True):
            logged = open_session(summary.place).visit
            assert (summary.when, logged.remarks) == (visit.when, visit.remark)
            assert logged.work.stage == visit.stage
            assert logged.work.minutes == visit.minutes
            assert logged.work.on_top == visit.on_top
            heights = {one.piece: tuple(one.height_mm) for one in logged.spherometers}
            assert heights == (
                {"plate": visit.plate_mm, "work": visit.work_mm} if visit.work_mm else {}
            )
            used = {"plate"} if spec.against == SCENARIO.plate_name else set()
            used |= {"spherometer"} if visit.work_mm else set()
            assert set(logged.instruments) == used | ({"camera"} if visit.photographs else set())
            shipped = [SCENARIO.photograph(one).read_bytes() for one in visit.photographs]
            assert [one.data for one in logged.photographs] == shipped


def test_spherometer_and_fringes_stand_on_one_axis(demo: Demo) -> None:
    """Each visit has a power; the spherometer's lies within its interval of the true one."""
    for made, spec in zip(demo.surfaces, SCENARIO.surfaces, strict=True):
        plate = SCENARIO.true_plate_radius_mm(spec)
        for row, visit in zip(made.state.rows, spec.visits, strict=True):
            assert row.power_fringes is not None
            if visit.work_mm:
                truth = power_fringes(
                    visit.truth.radius_mm - plate,
                    plate,
                    spec.diameter_mm,
                    lamp(spec.lamp).wavelength_nm,
                    spec.form,
                )
                assert row.power_u95_fringes is not None
                assert row.power_fringes == pytest.approx(truth, abs=1.7 * row.power_u95_fringes)


def test_the_concave_is_laid_on_the_finished_convex(demo: Demo) -> None:
    """The chain: the first piece's radius and its uncertainty are those of the second's plate."""
    first, second = demo.surfaces
    plate = second.surface.plate
    assert plate.name == first.surface.name
    assert (plate.radius_mm, plate.radius_u_mm) == (first.radius_mm, first.radius_u_mm)
    assert first.radius_u_mm >= SCENARIO.plate["u_radius_mm"]


def test_a_warm_piece_is_told_to_wait(demo: Demo) -> None:
    """The visit straight from the lap is not judged by its warmth: the next step is to wait."""
    number = next(i for i, (_, v) in enumerate(VISITS) if v.truth.warm_fringes)
    assert (demo.surfaces[0].state.rows[number].next_step or "").startswith("wait")
    assert demo.surfaces[0].state.next_step.action == "stop"


def test_the_warm_piece_settles_where_it_was_foretold(once: Once) -> None:
    """From its drift, the settled power of the scenario's truth is foretold within its interval."""
    told = [one for one in once.events if isinstance(one, Logged) and one.settled is not None]
    ((surface, visit),) = [(s, v) for s, v in VISITS if v.truth.warm_fringes]
    assert [one.surface.name for one in told] == [surface.name]
    cold = replace(visit.photographs[0], after_minutes=1e6)
    end = told[0].settled and told[0].settled.power_fringes
    assert end is not None
    assert abs(end.value - true_power_fringes(SCENARIO, surface, visit, cold)) < end.u95 < 0.15
    assert (once.folder / "demo" / "pictures" / "relay-convex-settling.png").is_file()


def test_it_tells_every_visit_and_ends_at_its_last_step(once: Once) -> None:
    """The watcher hears of each visit once, in order, and the steps add up."""
    events = once.events
    logged = [(one.surface.name, one.number) for one in events if isinstance(one, Logged)]
    assert logged == [
        (one.name, number) for one in SCENARIO.surfaces for number in range(1, len(one.visits) + 1)
    ]
    steps = [one.done for one in events if isinstance(one, RunStatus)]
    assert steps == sorted(steps)
    last = next(one for one in reversed(events) if isinstance(one, RunStatus))
    assert last.done == last.total


def test_twice_in_a_row(demo: Demo, capsys: pytest.CaptureFixture[str]) -> None:
    """A second run replaces the first one's folder and leaves nothing of it.

    With `--json` it prints the summary alone: the pair's verdict, each surface, where it is.
    """
    before = set(everything(demo.folder))
    answer = call(capsys, "demo", "--out", "demo", "--json")
    assert (answer.status, answer.err) == (0, "")
    assert answer.json["pair"]["state"] == "inside"
    assert [len(one["visits"]) for one in answer.json["surfaces"]] == [
        len(one.visits) for one in SCENARIO.surfaces
    ]
    assert answer.json["folder"] == "demo"
    after = everything(demo.folder)
    # sessions have names of their own; lists that are made when somebody asks may be absent
    kept, found = (
        {name for name in names if not name.endswith(".h5") and "/.index/" not in name}
        for names in (before, after)
    )
    assert kept == found
    sessions = [name for name in after if name.endswith(".h5")]
    assert len(sessions) == len(VISITS)
    assert not set(sessions) & before  # each file of a visit has a name of its own
    assert os.listdir() == ["demo"]


def test_the_text_says_a_line_a_visit_the_verdicts_and_where(once: Once) -> None:
    """Plain lines without a terminal: each visit, the verdicts in words, what to look at first."""
    out = "demo"
    assert "\x1b" not in once.printed
    lines = once.printed.splitlines()
    work = [line for line in lines if " min" in line or "no work since" in line]
    assert len(work) == len(VISITS)
    assert max(len(line) for line in lines if out not in line) <= 100
    assert any(line.startswith("The pair matches") for line in lines)
    assert any("K2 of 3048.10 ± 0.29 mm" in line for line in lines)
    assert any(line.startswith("look first at") and out in line for line in lines)


def test_readme_walks_through_this_run(once: Once) -> None:
    """What README.md shows of the run is what it prints, and its pictures are of the run."""
    text = shown.README.read_text(encoding="utf-8")
    walk = text.split("## The example")[1].split("\n## ")[0]
    assert len([line for block in blocks(walk, "text") for line in block.splitlines()]) > 15
    assert shown.with_demo(walk, once.printed).count("\n") == walk.count("\n")
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", walk)
    assert {shown.ROOT / one for one in pictures} == set(shown.PICTURES.glob("*"))
    assert len(pictures) == 4
    for one in pictures:
        path = shown.ROOT / one
        assert path.stat().st_size < 200_000
        assert (once.folder / "demo" / "pictures" / path.name).is_file()


@pytest.mark.usefixtures("known_fits")
def test_the_guides_commands_run(
    demo: Demo, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Each command that START-HERE.txt names runs in the folder where it lies."""
    text = demo.guide.read_text(encoding="utf-8")
    monkeypatch.chdir(demo.folder)
    monkeypatch.setattr("fringe.parallel.cores", lambda: 1)  # starting another takes longer
    for line in guide_commands(SCENARIO):
        assert f"  {line}\n" in text
        done = call(capfd, *shlex.split(line)[1:])
        assert (done.status, done.err) == (0, ""), line


def listed(heading: str) -> set[str]:
    """Return the keys that `fringe help json` lists under a heading."""
    part = re.split(rf"^##+ {heading}$", topic_text("json"), flags=re.MULTILINE)[1]
    rows = re.findall(r"^- (.+?): ", part.split("\n#")[0], re.MULTILINE)
    return {name for row in rows for name in re.findall(r"`(\w+)`", row)}


def test_the_keys_of_json_are_those_that_help_lists(
    demo: Demo, capsys: pytest.CaptureFixture[str]
) -> None:
    """What commands print with `--json` has the keys that `fringe help json` lists, and no more."""
    archive = demo.archive
    convex, concave = (f"{archive}/{made.surface.name}" for made in demo.surfaces)
    progress = call(capsys, "progress", concave, "--json").json
    found = {
        "fringe progress": progress,
        "fringe progress: each of visits": progress["visits"][-1],
        "fringe progress: next_step": progress["next_step"],
        "fringe surfaces": call(capsys, "surfaces", archive, "--json").json,
        "fringe pair": call(capsys, "pair", convex, concave, "--json").json,
        "fringe budget": call(capsys, "budget", concave, "--trials", "0", "--json").json,
        "fringe check": call(capsys, "check", archive, "--json").json,
    }
    assert {name: set(values) for name, values in found.items()} == {
        name: listed(name) for name in found
    }


def test_the_pairs_verdict_is_that_of_the_command(
    demo: Demo, capsys: pytest.CaptureFixture[str]
) -> None:
    """`fringe pair` in the example's archive says just what the run said at its end."""
    archive = demo.archive
    names = [f"{archive}/{made.surface.name}" for made in demo.surfaces]
    told = call(capsys, "pair", *names, "--json").json
    said = demo.to_json()["pair"]
    assert told["verdict"]["state"] == said["state"] == "inside"
    assert told["verdict"]["probability"] == pytest.approx(said["probability"])
    for key in ("mismatch_mm", "mismatch_u95_mm", "power_fringes", "power_u95_fringes"):
        assert told[key] == pytest.approx(said[key])
    truth = [one.visits[-1].truth.radius_mm for one in SCENARIO.surfaces]
    assert abs(said["mismatch_mm"] - (truth[1] - truth[0])) < said["mismatch_u95_mm"]


def test_tolerance_of_the_pair_is_the_systems(demo: Demo) -> None:
    """(analytic) A quarter wave shared by three errors, doubled by reflection over 140 of 150 mm.

    Wavefront 0.25 * 550 nm / sqrt(3); a height counts twice and over (140/150)^2 of the rim.
    """
    height_nm = 0.25 * 550 / 3**0.5 / 2 / (140 / 150) ** 2
    limit = demo.surfaces[1].surface.tolerance
    assert limit.power_fringes == pytest.approx(
        height_nm / (lamp("sodium").wavelength_nm / 2), rel=1e-3
    )


def test_shipped_summary_is_json() -> None:
    """Each truth beside a photograph is JSON of the reading's vocabulary."""
    for _, visit in VISITS:
        for one in visit.photographs:
            path = SCENARIO.photograph(one).with_suffix(".json")
            assert json.loads(path.read_text(encoding="utf-8"))["schema"].startswith("fringe-synth")

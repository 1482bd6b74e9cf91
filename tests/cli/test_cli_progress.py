"""`fringe progress` as a person and a program call it."""

from __future__ import annotations

import json
import re
import subprocess
import sys

import pytest
from PIL import Image

from fringe.archive.store.session import Visit
from fringe.archive.store.surface import change_surface, find_surface
from fringe.archive.store.write import log_visit
from fringe.cli import main
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.verdict import Tolerance
from sample_visits import FRINGES_ALONE, full_surface, hours, power_reading
from shared_files import copied_once

VISITS = [
    (None, "#1200", 95.0, "work"),
    (-31.2, "#1200", 50.0, "work"),
    (-9.6, "polish", 60.0, "tool"),
    (-2.1, "polish", 60.0, "tool"),
    (-1.0, "polish", 20.0, "tool"),
]


def five_visits(folder):
    """A surface with five visits, in an archive `shop`."""
    surface = full_surface(folder / "shop", tolerance=FRINGES_ALONE)
    for i, (power, stage, minutes, on_top) in enumerate(VISITS):
        readings = () if power is None else (power_reading(power, 0.2, "edge"),)
        last = {"pits": "gone", "rested_minutes": 300.0} if i == len(VISITS) - 1 else {}
        visit = Visit(work=Work(stage, minutes, on_top, **last), readings=readings)
        log_visit(surface, visit, now=hours(24 * i))


@pytest.fixture
def surface(tmp_path, tmp_path_factory, monkeypatch):
    """A surface with five visits, in an archive `shop` of the working folder."""
    monkeypatch.chdir(tmp_path)
    copied_once(tmp_path_factory, tmp_path, five_visits)
    return find_surface(f"{tmp_path}/shop/concave 1")


@pytest.fixture
def run(capsys, surface, monkeypatch):
    """Run `fringe progress` for the surface; return status, standard output and error."""

    def call(*words, columns=None):
        monkeypatch.delenv("COLUMNS", raising=False)
        if columns is not None:
            monkeypatch.setenv("COLUMNS", str(columns))
        with pytest.raises(SystemExit) as stop:
            main(["progress", "shop/concave 1", *words])
        out, err = capsys.readouterr()
        return int(stop.value.code or 0), out, err

    return call


def test_a_narrow_terminal_keeps_lines_whole(run):
    """At 60 columns a visit is one line with its verdict, and verdict and next step stand below."""
    code, out, _ = run(columns=60)
    assert code == 0
    table = out.partition("\n\n")[2].partition("power and irregularity")[0].splitlines()
    assert len(table) == 2 + len(VISITS)
    assert max(map(len, table)) <= 60
    assert table[4].split()[-1] == "outside"
    assert "polish 60 min, tool" in table[4]
    assert "Verdict: inside" in out
    assert "Next: stop: " in out


def test_the_rest_has_a_column(run):
    """How long the surface had rested stands in a column of its own where there is room."""
    _, out, _ = run(columns=120)
    (last,) = [line for line in out.splitlines() if line.startswith("5 ")]
    assert "polish 20 min, tool  300 min" in last


def test_the_table(run):
    """Each visit has one line: date, work, power with its interval, verdict, next step."""
    code, out, err = run(columns=200)
    assert (code, err) == (0, "")
    lines = [line for line in out.splitlines() if line.startswith(tuple("12345"))]
    assert len(lines) == 5
    for words in ("2026-03-16", "polish 60 min, tool", "−9.60 ± 0.20", "outside", "< 0.1 %"):
        assert words in lines[2]
    assert " ".join(lines[0].split()) == "1 2026-03-14 09:30 #1200 95 min, work remeasure"
    assert "unproven" in lines[3]
    assert "min tool on top" in lines[3]  # at the limit, with pits left: work does more
    assert lines[4].rstrip().endswith("stop")
    assert "fringes at 589.29 nm" in out
    assert "Verdict: inside: power −1.00 ± 0.20 fringes is proven inside ±2 fringes" in out
    assert "Next: stop: " in out


@pytest.mark.parametrize("columns", [60, 80, 100, 132, 200])
def test_it_fits_the_terminal(run, columns):
    """No line is wider than the terminal, and no visit's power or verdict is lost or cut."""
    code, out, _ = run(columns=columns)
    assert code == 0
    assert max(map(len, out.splitlines())) <= columns
    for words in ("−31.20 ± 0.20", "−1.00 ± 0.20", "outside", "unproven", "inside"):
        assert words in out
    assert "…" not in out


def test_json(run):
    """JSON holds surface, visits, verdict, next step and problems."""
    code, out, err = run("--json")
    assert (code, err) == (0, "")
    values = json.loads(out)
    assert [v["power_fringes"] for v in values["visits"]] == [v[0] for v in VISITS]
    assert [v["verdict"] for v in values["visits"]] == [
        None,
        "outside",
        "outside",
        "unproven",
        "inside",
    ]
    assert values["visits"][-1]["hours_total"] == pytest.approx(285 / 60)
    assert values["surface"]["name"] == "concave 1"
    assert values["wavelength_nm"] == 589.29
    assert values["verdict"]["state"] == "inside"
    assert values["next_step"]["action"] == "stop"
    assert (values["problems"], values["picture"]) == ([], None)


def test_todays_tolerance_judges(run, surface):
    """A tolerance that was changed judges all visits, the earlier ones too."""
    change_surface(surface, tolerance=Tolerance(0.5, wavelength_nm=589.29))
    states = [v["verdict"] for v in json.loads(run("--json")[1])["visits"]]
    assert states == [None, "outside", "outside", "outside", "outside"]


def test_a_picture(run, tmp_path):
    """--picture draws the progress as PNG; both outputs name the file."""
    code, out, _ = run("--picture", "p.png")
    assert code == 0
    assert "Picture: p.png" in out
    with Image.open(tmp_path / "p.png") as image:
        assert image.format == "PNG"
        assert image.width > 800
    assert json.loads(run("--picture", "q.png", "--json")[1])["picture"] == "q.png"
    assert (tmp_path / "q.png").is_file()


@pytest.mark.parametrize("name", ["p.jpg", "p", "nowhere/p.png"])
def test_a_picture_that_cannot_be(run, tmp_path, name):
    """Another ending, or a folder that is not there, is one line of refusal."""
    code, out, err = run("--picture", name)
    assert (code, out) == (2, "")
    assert name in err
    assert len(err.splitlines()) == 1
    assert not (tmp_path / name).exists()


def test_damage_hides_no_other_visit(run, surface):
    """A damaged session is named, and the other visits are shown."""
    from fringe.archive.store.read import session_files

    path = session_files(surface.folder)[1]
    path.write_bytes(path.read_bytes()[:-5])
    code, out, err = run()
    assert code == 0
    assert path.name in err
    assert sum(line.startswith(tuple("12345")) for line in out.splitlines()) == 4


def test_no_visits_yet(tmp_path, monkeypatch, capsys):
    """A surface without visits says what to do first; a picture of it is refused."""
    monkeypatch.chdir(tmp_path)
    full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)
    with pytest.raises(SystemExit) as stop:
        main(["progress", "shop/concave 1"])
    assert not stop.value.code
    assert "no visit has been logged yet" in capsys.readouterr().out
    with pytest.raises(SystemExit) as stop:
        main(["progress", "shop/concave 1", "--picture", "p.png"])
    assert stop.value.code == 2
    assert "no visits yet" in capsys.readouterr().err


def test_names_are_no_markup(tmp_path, monkeypatch, capsys):
    """Square brackets in a name or a stage are printed as they are."""
    monkeypatch.chdir(tmp_path)
    surface = full_surface(tmp_path / "shop", "[red]one[/red]")
    log_visit(surface, Visit(work=Work("[bold]#400[/bold]", 5.0)))
    with pytest.raises(SystemExit):
        main(["progress", "shop/[red]one[/red]"])
    out = capsys.readouterr().out
    assert "[red]one[/red]" in out
    assert "[bold]#400[/bold] 5 min" in out


def test_a_list_needs_no_heavy_library(surface):
    """Progress without a picture loads h5py and scipy.special, and none of xarray, matplotlib."""
    code = (
        "import sys\nfrom fringe.cli import main\ntry:\n    main(sys.argv[1:])\n"
        "except SystemExit:\n    pass\n"
        "heavy = ('h5py', 'xarray', 'scipy.stats', 'scipy.optimize', 'matplotlib', 'pandas')\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "progress", "shop/concave 1"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.splitlines()[-1] == "['h5py']"


def test_the_outlook(tmp_path, monkeypatch, capsys):
    """Which way the radius moves, where the next spell ends, and what was learned, in words.

    Common practice: a concave below its tool turns less concave, so that its radius grows.
    """
    monkeypatch.chdir(tmp_path)
    surface = full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)
    for i, power in enumerate((-30.0, -24.2, -18.0, -12.1)):
        reading = power_reading(power, 0.1, "edge")
        log_visit(
            surface,
            Visit(readings=(reading,), work=Work("polish", 30.0, "tool")),
            now=hours(24 * i),
        )
    with pytest.raises(SystemExit):
        main(["progress", "shop/concave 1", "--json"])
    values = json.loads(capsys.readouterr().out)
    with pytest.raises(SystemExit):
        main(["progress", "shop/concave 1"])
    out = capsys.readouterr().out
    assert "So the radius grows." in out
    assert re.search(r"This work gets there at all in 9\d of 100 cases\.", out)
    assert "polish, tool on top: +" in out
    assert "fringes/h, from 4 spells of this surface, 120 min" in out
    step = values["next_step"]
    assert step["moves"] == "the radius grows"
    # 12 fringes an hour: 10 to the limit in 50 min (analytic), but for the warmth of the readings
    assert step["forecast"]["minutes"]["median"] == pytest.approx(50, rel=0.2)
    assert step["forecast"]["minutes"]["low"] < 50 < step["forecast"]["minutes"]["high"]
    assert values["rates"][0]["learned_from"]["spells"] == 4
    (after,) = [line for line in out.splitlines() if line.startswith("After ")]
    assert "min power will be −" in after
    assert "work − plate" in after
    assert "% likely inside" in after


def test_readings_of_the_spherometer_are_marked(tmp_path, monkeypatch, capsys):
    """What the spherometer read is marked in the table, and the legend says so."""
    monkeypatch.chdir(tmp_path)
    surface = full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)
    from fringe.archive.views.sagittas import sagitta_readings

    readings, _ = sagitta_readings(surface, [0.808], [0.793], [0.0], u_reading_mm=1e-3)
    log_visit(surface, Visit(spherometers=readings, work=Work("#400", 20.0, "tool")), now=hours(1))
    with pytest.raises(SystemExit):
        main(["progress", "shop/concave 1"])
    out = capsys.readouterr().out
    assert "s +58 ± " in out
    assert "s by spherometer" in out


def test_pits_of_the_last_grit(tmp_path, monkeypatch, capsys):
    """How likely the last grit's pits are left, how deep, how long they take; the factor is given.

    Analytic: those of #400, of 17 um, are as deep as what 110 um leave of three grains of 53 um;
    of two grains nothing is left.
    """
    monkeypatch.chdir(tmp_path)
    surface = full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)
    for i, (power, work) in enumerate(
        (
            (-600.0, Work("#220", 20.0, "tool")),
            (-100.0, Work("#400", 20.0, "tool", removed_mm=0.11)),
        )
    ):
        reading = power_reading(power, 4.0, "edge")
        log_visit(surface, Visit(readings=(reading,), work=work), now=hours(24 * i))

    def told(*words):
        with pytest.raises(SystemExit):
            main(["progress", "shop/concave 1", *words])
        return capsys.readouterr().out

    line = r"Pits of #220 are \d+ % likely left, up to \d+ µm deep; about \d+ min take them out"
    assert re.search(line, told("--pit-factor", "3"))
    three, two = (
        json.loads(told("--pit-factor", factor, "--json"))["next_step"]["pits"]
        for factor in ("3", "2")
    )
    assert three["depth_um"] > 2 * two["depth_um"]
    assert two["chance_left"] < 0.2 < 0.5 < three["chance_left"]
    with pytest.raises(SystemExit) as stop:
        main(["progress", "shop/concave 1", "--pit-factor", "0"])
    assert stop.value.code == 2

"""`fringe log` as a person and a program call it; the reading itself is a stand-in here."""

from __future__ import annotations

import io
import json
import math
import re
from dataclasses import replace
from pathlib import Path

import h5py
import pytest

from calling import call
from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session
from fringe.archive.views.surface_state import surface_state
from fringe.orders.options import StatedOptions
from fringe.photo.ellipse import Edge
from fringe.show.text.progress import progress_view
from sample_visits import SAGS

# standard uncertainty of a size that is written to the pixel
HALF_A_DIGIT = 1 / math.sqrt(12)
# and of the diameter of 150 mm where no chamfer is told, which may be of up to half a millimetre
UNTOLD_CHAMFER_MM = 2 * 0.5 / math.sqrt(3)


def test_a_photograph(run, photos, surface):
    """Text: power with its interval and wavelength, verdict, next step and file, on their lines."""
    code, out, err = run(*photos("m3.5.jpg"))
    assert (code, err) == (0, "")
    rows = {line[2:21].strip(): line[21:] for line in out.splitlines() if line.startswith("  ")}
    assert out.startswith("concave 1, visit 1, ")
    assert rows["power"] == "−3.50 ± 0.10 fringes (contact at the edge), at 589.29 nm"
    assert rows["irregularity"] == "0.100 ± 0.004 fringes"
    assert rows["verdict"].startswith("outside (< 0.1 % probable to conform): power −3.50 ± 0.10")
    assert rows["next"].startswith("polish about ")
    assert ", tool on top, then let it rest " in rows["next"]
    (session,) = list_sessions(surface.folder)
    assert Path(rows["file"]).resolve() == session.place


def test_json(run, photos, surface):
    """JSON holds the row of the visit, all readings, next step and file."""
    work = ("--stage", "polish", "--rested", "300")
    code, out, err = run(*photos("m0.5.jpg", "m0.4.jpg"), *work, "--json")
    assert (code, err) == (0, "")
    values = json.loads(out)
    assert values["surface"] == "concave 1"
    assert values["visit"] == 1
    assert values["power_fringes"] == pytest.approx(-0.45)
    assert values["verdict"] == "inside"
    assert values["next_step"]["action"] == "stop"
    assert [r["power_fringes"] for r in values["readings"]] == [-0.5, -0.4]
    assert values["refused"] == values["problems"] == []
    (session,) = list_sessions(surface.folder)
    assert values["session"] == session.session_id
    assert Path(values["file"]).resolve() == session.place


def test_all_options_are_kept(run, photos, surface):
    """Every option ends in the session: as a field, and in the inputs as it was given."""
    code, _, err = run(
        *photos("1.0.jpg"),
        "--lamp",
        "hene",
        "--edge",
        "100,90,80",
        "--camera-distance",
        "0.9m",
        "--sense",
        "centre",
        "--scale",
        "5",
        "--stage",
        "#600",
        "--minutes",
        "42,5",
        "--on-top",
        "work",
        "--temperature",
        "20.4",
        "--remark",
        "new lap",
        "--by",
        "late shift",
        "--when",
        "2026-03-14T09:30+01:00",
    )
    assert (code, err) == (0, "")
    session = open_session(list_sessions(surface.folder)[0].place)
    visit = session.visit
    assert (visit.work.stage, visit.work.minutes, visit.work.on_top) == ("#600", 42.5, "work")
    assert (visit.temperature_c, visit.remarks, visit.by) == (20.4, "new lap", "late shift")
    assert visit.when.isoformat() == "2026-03-14T09:30:00+01:00"
    options = visit.readings[0].options
    assert options == {
        "lamp": "hene",
        "edge": "100,90,80",
        "sense": "centre",
        "camera_distance_mm": 900.0,
        "scale_px_per_mm": 5.0,
        "diameter_mm": 150.0,
        "u_diameter_mm": pytest.approx(UNTOLD_CHAMFER_MM),
        "plate_radius_mm": 3048.6,
        "work": "concave",
    }
    assert visit.inputs["photographs"] == ["1.0.jpg"]
    assert visit.inputs["edge"] == "100,90,80"
    assert photos.reader.options.to_json() == options


def test_the_surfaces_own_lamp(run, photos, surface):
    """Without --lamp the record's usual lamp is used."""
    run(*photos("1.0.jpg"))
    (session,) = list_sessions(surface.folder)
    assert open_session(session.place).visit.readings[0].lamp.name == "sodium"


def test_a_refused_photograph(run, photos, surface):
    """A photograph that cannot be read: one line, status 2, and nothing is written."""
    before = sorted(surface.folder.iterdir())
    names = photos("1.0.jpg", "blank.jpg")
    code, out, err = run(*names)
    assert (code, out) == (2, "")
    assert err == "fringe: blank.jpg: no fringes to be seen; focus on the work\n"
    code, out, _ = run(*names, "--json")
    assert code == 2
    assert json.loads(out) == {"error": "blank.jpg: no fringes to be seen; focus on the work"}
    assert sorted(surface.folder.iterdir()) == before


def test_a_refused_photograph_kept(run, photos, surface):
    """With --keep-refused the photograph is kept with the reason, and standard error says so."""
    code, out, err = run(*photos("blank.jpg"), "--keep-refused")
    assert code == 0
    assert "kept without a reading: blank.jpg: no fringes" in err
    assert "verdict" not in out
    (session,) = list_sessions(surface.folder)
    assert (session.photographs, session.refused, session.measured) == (1, 1, ())
    (photograph,) = open_session(session.place).visit.photographs
    assert photograph.refusal.startswith("blank.jpg: no fringes")


def test_work_without_a_photograph(run, surface):
    """Work and a remark alone make a visit."""
    code, out, _ = run("--stage", "#120", "--minutes", "95", "--on-top", "work", "--remark", "grey")
    assert code == 0
    assert "next" in out
    (session,) = list_sessions(surface.folder)
    assert (session.work.stage, session.work.minutes, session.remarks) == ("#120", 95.0, "grey")


def test_a_correction(run, photos, surface):
    """--replaces keeps what it does not change, and takes the place of what it corrects."""
    run(*photos("5.0.jpg"), "--stage", "polish", "--minutes", "30", "--by", "early shift")
    run(*photos("2.0.jpg"), "--stage", "polish", "--minutes", "10")
    code, _, err = run(*photos("4.0.jpg"), "--replaces", "1")
    assert (code, err) == (0, "")
    assert [s.measured[0].power_fringes for s in list_sessions(surface.folder)] == [4.0, 2.0]
    first = list_sessions(surface.folder)[0]
    assert (first.work.minutes, first.by) == (30.0, "early shift")
    code, _, err = run("--replaces", "1", "--minutes", "35")
    assert (code, err) == (0, "")
    first = open_session(list_sessions(surface.folder)[0].place).visit
    assert first.work.minutes == 35.0
    assert first.photographs[0].file_name == "4.0.jpg"
    assert first.readings[0].reading.power_fringes == 4.0


def test_a_split_spell(run, photos, surface):
    """Minutes and pieces on top in turn are the parts of one visit, in JSON and in the table."""
    spell = ("--stage", "9um", "--minutes", "30", "--on-top", "work", "--minutes", "40,5")
    code, out, err = run(*photos("5.0.jpg"), *spell, "--on-top", "tool", "--rested", "90", "--json")
    assert (code, err) == (0, "")
    values = json.loads(out)
    parts = [{"on_top": "work", "minutes": 30.0}, {"on_top": "tool", "minutes": 40.5}]
    assert (values["split"], values["minutes"], values["on_top"]) == (parts, 70.5, None)
    assert values["rested_minutes"] == 90.0
    visit = open_session(list_sessions(surface.folder)[0].place).visit
    assert (visit.inputs["minutes"], visit.inputs["rested"]) == ([30.0, 40.5], 90.0)
    assert "9um 70.5 min, work 30 + tool 40.5  90 min" in shown(surface)
    code, _, err = run("--replaces", "1", "--minutes", "60", "--rested", "0")
    assert (code, err) == (0, "")
    assert re.search(r"9um 60 min +0 min", shown(surface))


def shown(surface):
    """The table of progress on a wide screen."""
    from rich.console import Console

    console = Console(width=200, record=True, file=io.StringIO())
    console.print(*progress_view(surface_state(surface), 200))
    return console.export_text()


def test_a_correction_in_the_middle_tells_of_itself(run, photos, surface):
    """The text after a correction shows the corrected visit, and the step that follows now."""
    run(*photos("5.0.jpg"))
    run(
        *photos("0.5.jpg"),
        *["--stage", "polish", "--minutes", "30", "--on-top", "work", "--rested", "300"],
    )
    _, out, _ = run(*photos("6.0.jpg"), "--replaces", "1")
    assert out.startswith("concave 1, visit 1 corrected, ")
    assert "+6.00 ± 0.10" in out
    assert "  next               stop" in out


def test_a_number_means_the_same_everywhere(run, photos, surface, capsys):
    """After a correction, `--replaces`, `budget` and `progress` mean the number that `log` said."""
    run(*photos("5.0.jpg"), "--stage", "#120", "--minutes", "30")
    run("--replaces", "1", "--minutes", "20")
    _, out, _ = run(*photos("3.0.jpg"), "--stage", "#240", "--minutes", "40", "--json")
    said = json.loads(out)
    assert (said["visit"], said["corrects"]) == (2, None)
    _, out, _ = run("--replaces", "2", "--minutes", "45", "--json")
    said = json.loads(out)
    assert (said["visit"], said["corrects"]["minutes"], said["minutes"]) == (2, 40.0, 45.0)
    assert (said["corrects"]["stage"], said["corrects"]["visit"]) == ("#240", 2)
    visits = call(capsys, "progress", "shop/concave 1", "--json").json["visits"]
    told = [(one["visit"], one["stage"], one["minutes"], one["corrected"]) for one in visits]
    assert told == [(1, "#120", 20.0, True), (2, "#240", 45.0, True)]
    results = call(capsys, "budget", "shop/concave 1", "2", "--trials", "0", "--json").json
    power = next(one for one in results["results"] if one["name"] == "power")
    assert power["value"] == pytest.approx(3.0)
    table = call(capsys, "progress", "shop/concave 1").out
    assert re.search(r"^ *2 .*#240 45 min", table, re.M)
    _, out, _ = run("--replaces", "1", "--minutes", "25")
    assert "  before             " in out
    assert "#120 20 min" in out
    assert "#120 25 min" in out


def test_problems_are_named(run, photos, surface):
    """A damaged session is named on standard error; the new one is logged all the same."""
    run("--remark", "a")
    path = list_sessions(surface.folder)[0].place
    path.write_bytes(path.read_bytes()[:900])
    code, _, err = run("--remark", "b")
    assert code == 0
    assert path.name in err
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((), "nothing to log"),
        (("--stage", "0um"), "no grain is 0 um"),
        (("--stage", "9000um"), "no grain"),
        (("--sag-plate", "808um"), "give --sag-work as well"),
        (("--sag-work", "808um"), "give --sag-plate as well"),
        (("--zero", "0um", "--remark", "x"), "needs its readings"),
        (("--sag-plate", "808um", "--sag-work", "0um"), "equals the zero"),
        ((*SAGS, "--spherometer", "gone"), "no spherometer named 'gone'"),
        (("here.jpg", "--against", "gone"), "gone"),
        (("here.jpg", "--against", "concave 1"), "do not fit"),
        (("here.jpg", "--aperture", "200mm"), "more than the work's"),
        (("here.jpg", "--place", "1mm,2mm"), "--aperture as well"),
        (("here.jpg", "--aperture", "80mm", "--place", "1mm"), "two lengths"),
        (("here.jpg", "--aperture", "80mm", "--place", "99mm,0mm"), "off the work"),
        (("--aperture", "80mm", "--remark", "x"), "belongs to a photograph"),
        (("gone.jpg",), "gone.jpg: no such file"),
        (("--minutes", "-5"), "cannot be"),
        (("--minutes", "long"), "not a number"),
        (("--minutes", "5", "--minutes", "6"), "says both for each part"),
        (("--minutes", "5", "--on-top", "work", "--on-top", "tool"), "says both for each part"),
        (("here.jpg", "--rested", "-1"), "rested -1 minutes cannot be"),
        (("here.jpg", "--rested", "99999"), "cannot be"),
        (("--stage", "polish", "--rested", "5"), "nothing was read"),
        (("--when", "yesterday", "--remark", "x"), "is not a time"),
        (("--remark", "x", "--replaces", "7"), "no visit '7'; it has none yet"),
        (("--remark", "x", "--on-top", "both"), "--on-top"),
        (("here.jpg", "--lamp", "candle"), "candle"),
    ],
)
def test_one_line_of_refusal(run, photos, surface, words, message):
    """A mistake is one line, status 2, and leaves the folder as it was."""
    photos("here.jpg")
    before = sorted(surface.folder.iterdir())
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert message in err
    assert len(err.splitlines()) == 1
    assert sorted(surface.folder.iterdir()) == before


@pytest.mark.parametrize(
    ("text", "edge"),
    [
        ("auto", "auto"),
        ("none", "none"),
        ("100,90.5,80", Edge(100.0, 90.5, 80.0, 80.0, 0.0, HALF_A_DIGIT)),
        ("1,2,30,20,10", Edge(1.0, 2.0, 30.0, 20.0, 10.0, HALF_A_DIGIT)),
        ("1,2,20,30,10", Edge(1.0, 2.0, 30.0, 20.0, 100.0, HALF_A_DIGIT)),
    ],
)
def test_edges(run, photos, text, edge):
    """An edge is a word, a circle or an ellipse, whose longer axis comes first."""
    assert StatedOptions(edge=text).parsed_edge() == edge


@pytest.mark.parametrize("text", ["", "1,2", "1,2,3,4", "a,b,c", "1,2,-3", "1,2,0", "1,2,nan"])
def test_no_edges(text):
    """Anything else is refused, and the line shows what to write."""
    from fringe.errors import BadInput

    with pytest.raises(BadInput, match="CX,CY,R"):
        StatedOptions(edge=text).parsed_edge()


def test_the_reader_gets_the_surfaces_record(surface):
    """A photograph is read with plate, diameter and form of the record, and the options given."""
    from fringe.archive.views.reading_options import stated_options
    from fringe.optics.lamps import lamp
    from fringe.orders.options import ReadOptions

    stated = StatedOptions(
        lamp="hene", edge="1,2,3", camera_distance_mm=900.0, sense="edge", scale_px_per_mm=4.0
    )
    options = stated_options(surface, stated)
    edge = Edge(1, 2, 3, 3, u_px=HALF_A_DIGIT)
    known = ReadOptions(lamp("hene"), edge, 150.0, 3048.6, "concave", 900.0, "edge", 4.0)
    assert options == replace(known, u_diameter_mm=pytest.approx(UNTOLD_CHAMFER_MM))


def test_raw_h5py_finds_the_photograph(run, photos, surface, tmp_path):
    """The file that the command names holds the photograph's bytes for plain h5py."""
    _, out, _ = run(*photos("1.5.jpg"), "--json")
    with h5py.File(json.loads(out)["file"]) as file:
        assert file["photograph_1/data"][()].tobytes() == (tmp_path / "1.5.jpg").read_bytes()
        assert file["power_fringes"][0] == 1.5

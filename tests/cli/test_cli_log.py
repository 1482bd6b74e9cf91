"""`fringe log` as a person and a program call it; the reading itself is a stand-in here."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path

import h5py
import pytest

from calling import call
from fringe.archive.instruments import add_instrument
from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session
from fringe.archive.store.surface import Surface, add_surface
from fringe.cli import main
from fringe.errors import Refused
from fringe.orders.options import StatedOptions
from fringe.photo.ellipse import Edge
from sample_visits import FRINGES_ALONE, full_surface, power_reading


@pytest.fixture
def surface(tmp_path, monkeypatch):
    """A surface in an archive `shop` of the working folder."""
    monkeypatch.chdir(tmp_path)
    return full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)


@pytest.fixture
def photos(tmp_path, monkeypatch, surface, rng):
    """Photographs whose name says their power, m for minus; `blank...` is refused."""

    def stand_in(photographs, options):
        stand_in.options = options
        path = Path(photographs[0].file_name)
        if path.name.startswith("blank"):
            raise Refused(f"{path.name}: no fringes to be seen; focus on the work")
        power = float(path.stem.replace("m", "-"))
        sense = "edge" if power < 0 else "centre"
        return power_reading(power, 0.1, sense).reading

    monkeypatch.setattr("fringe.archive.views.photographs.read_kept", stand_in)
    # the stand-in is a function of this test, which no other process can be sent
    monkeypatch.setattr("fringe.parallel.cores", lambda: 1)

    def make(*names):
        for name in names:
            (tmp_path / name).write_bytes(rng.bytes(500))
        return names

    make.reader = stand_in
    return make


@pytest.fixture
def run(capsys, surface):
    """Run `fringe log` for the surface; return status, standard output and standard error."""

    def call(*words):
        with pytest.raises(SystemExit) as stop:
            main(["log", "shop/concave 1", *words])
        out, err = capsys.readouterr()
        return int(stop.value.code or 0), out, err

    call.printed = lambda: capsys.readouterr().out
    return call


# standard uncertainty of a size that is written to the pixel
HALF_A_DIGIT = 1 / math.sqrt(12)


def sessions(surface):
    """The visits that count."""
    return list_sessions(surface.folder)


def test_a_photograph(run, photos, surface):
    """Text: power with its interval and wavelength, verdict, next step and file, on their lines."""
    code, out, err = run(*photos("m3.5.jpg"))
    assert (code, err) == (0, "")
    rows = {line[2:21].strip(): line[21:] for line in out.splitlines() if line.startswith("  ")}
    assert out.startswith("concave 1, visit 1, ")
    assert rows["power"] == "−3.50 ± 0.10 fringes (contact at the edge), at 589.29 nm"
    assert rows["irregularity"] == "0.1 fringes"
    assert rows["verdict"].startswith("outside (< 0.1 % probable to conform): power −3.50 ± 0.10")
    assert rows["next"].startswith("grind, tool on top: ")
    (session,) = sessions(surface)
    assert Path(rows["file"]).resolve() == session.place


def test_json(run, photos, surface):
    """JSON holds the row of the visit, all readings, next step and file."""
    code, out, err = run(*photos("m0.5.jpg", "m0.4.jpg"), "--stage", "polish", "--json")
    assert (code, err) == (0, "")
    values = json.loads(out)
    assert values["surface"] == "concave 1"
    assert values["visit"] == 1
    assert values["power_fringes"] == pytest.approx(-0.45)
    assert values["verdict"] == "inside"
    assert values["next_step"]["action"] == "stop"
    assert [r["power_fringes"] for r in values["readings"]] == [-0.5, -0.4]
    assert values["refused"] == values["problems"] == []
    (session,) = sessions(surface)
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
    session = open_session(sessions(surface)[0].place)
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
        "plate_radius_mm": 3048.6,
        "work": "concave",
    }
    assert visit.inputs["photographs"] == ["1.0.jpg"]
    assert visit.inputs["edge"] == "100,90,80"
    assert photos.reader.options.to_json() == options


def test_the_surfaces_own_lamp(run, photos, surface):
    """Without --lamp the record's usual lamp is used."""
    run(*photos("1.0.jpg"))
    assert open_session(sessions(surface)[0].place).visit.readings[0].lamp.name == "sodium"


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
    (session,) = sessions(surface)
    assert (session.photographs, session.refused, session.measured) == (1, 1, ())
    (photograph,) = open_session(session.place).visit.photographs
    assert photograph.refusal.startswith("blank.jpg: no fringes")


def test_work_without_a_photograph(run, surface):
    """Work and a remark alone make a visit."""
    code, out, _ = run("--stage", "#120", "--minutes", "95", "--on-top", "work", "--remark", "grey")
    assert code == 0
    assert "next" in out
    (session,) = sessions(surface)
    assert (session.work.stage, session.work.minutes, session.remarks) == ("#120", 95.0, "grey")


def test_a_correction(run, photos, surface):
    """--replaces keeps what it does not change, and takes the place of what it corrects."""
    run(*photos("5.0.jpg"), "--stage", "polish", "--minutes", "30", "--by", "early shift")
    run(*photos("2.0.jpg"), "--stage", "polish", "--minutes", "10")
    code, _, err = run(*photos("4.0.jpg"), "--replaces", "1")
    assert (code, err) == (0, "")
    assert [s.measured[0].power_fringes for s in sessions(surface)] == [4.0, 2.0]
    assert (sessions(surface)[0].work.minutes, sessions(surface)[0].by) == (30.0, "early shift")
    code, _, err = run("--replaces", "3", "--minutes", "35")
    assert (code, err) == (0, "")
    first = open_session(sessions(surface)[0].place).visit
    assert first.work.minutes == 35.0
    assert first.photographs[0].file_name == "4.0.jpg"
    assert first.readings[0].reading.power_fringes == 4.0


def test_a_correction_in_the_middle_tells_of_itself(run, photos, surface):
    """The text after a correction shows the corrected visit, and the step that follows now."""
    run(*photos("5.0.jpg"))
    run(*photos("0.5.jpg"))
    _, out, _ = run(*photos("6.0.jpg"), "--replaces", "1")
    assert out.startswith("concave 1, visit 1, ")
    assert "+6.00 ± 0.10" in out
    assert "  next               stop" in out


def test_problems_are_named(run, photos, surface):
    """A damaged session is named on standard error; the new one is logged all the same."""
    run("--remark", "a")
    path = sessions(surface)[0].place
    path.write_bytes(path.read_bytes()[:900])
    code, _, err = run("--remark", "b")
    assert code == 0
    assert path.name in err
    assert len(err.splitlines()) == 1


SAGS = ("--sag-plate", "808um,808um", "--sag-work", "793um", "--zero", "0um")


def test_a_spherometer(run, surface):
    """Spherometer readings alone: which is deeper, power and radius difference, and a next step.

    The trade's facts: 793 where the plate reads 808 is too shallow by 15 (common practice).
    """
    code, out, err = run(*SAGS, "--stage", "#400", "--minutes", "25", "--on-top", "tool")
    assert (code, err) == (0, "")
    assert "The work is too shallow by 15.0 ± 2.8 µm" in out
    assert "#400: grains of 17.3 µm (F400: from memory)" in out
    assert "! each reading is taken as good to ±1 µm" in out
    (session,) = sessions(surface)
    (measured,) = session.measured
    assert measured.source == "spherometer"
    assert measured.sense == "centre"  # a concave too shallow has the larger radius
    assert measured.radius_difference_mm > 0
    visit = open_session(session.place).visit
    assert [one.piece for one in visit.spherometers] == ["plate", "work"]
    assert visit.spherometers[0].height_mm.tolist() == [0.808, 0.808]
    assert visit.spherometers[1].zero_mm.tolist() == [0.0]
    assert visit.inputs["sag_plate"] == [["808um", "808um"]]


def test_the_spherometer_agrees_with_sag(run, surface):
    """What is logged is what `fringe sag` says of the same readings, to the last digit."""
    values = json.loads(run(*SAGS, "--reading-u", "1um", "--json")[1])["spherometer"]
    with pytest.raises(SystemExit):
        main(
            [
                "sag",
                "--plate",
                "808um,808um",
                "--work",
                "793um",
                "--zero",
                "0um",
                "--form",
                "concave",
                "--plate-radius",
                "3048.6mm",
                "--plate-radius-u",
                "0.2mm",
                "--diameter",
                "150mm",
                "--wavelength",
                "589.29nm",
                "--reading-u",
                "1um",
                "--json",
            ]
        )
    told = json.loads(run.printed())
    assert values["power_fringes"] == pytest.approx(told["power_fringes"], rel=1e-12)
    assert values["power_u95_fringes"] == pytest.approx(told["power_u95_fringes"], rel=1e-12)
    assert values["work_radius_mm"] == pytest.approx(told["work_radius_mm"], rel=1e-12)


def test_instruments_are_copied(run, photos, surface, tmp_path):
    """The session keeps the records of plate, spherometer, camera and lamp as they were used."""
    shop = tmp_path / "shop"
    add_instrument(
        shop,
        "spherometer",
        "balls",
        {"foot_circle_mm": 140.0, "ball_diameter_mm": 6.35, "u_reading_um": 0.3},
    )
    add_instrument(shop, "plate", "plate 7", {"form": "convex", "radius_mm": 3048.6})
    add_instrument(shop, "camera", "overhead", {"distance_mm": 900.0, "scale_px_per_mm": 5.0})
    add_instrument(
        shop,
        "lamp",
        "arc",
        {"lines": [{"wavelength_nm": 546.07, "weight": 1.0}], "source": "label"},
    )
    sags = ("--sag-plate", "806um", "--sag-work", "800um")
    code, _, err = run(
        *photos("1.0.jpg"), *sags, "--spherometer", "balls", "--camera", "overhead", "--lamp", "arc"
    )
    assert (code, err) == (0, "")
    add_instrument(shop, "plate", "plate 7", {"form": "convex", "radius_mm": 1.0}, replace=True)
    visit = open_session(sessions(surface)[0].place).visit
    assert {kind: one["name"] for kind, one in visit.instruments.items()} == {
        "plate": "plate 7",
        "spherometer": "balls",
        "camera": "overhead",
        "lamp": "arc",
    }
    assert visit.instruments["plate"]["radius_mm"] == 3048.6
    assert visit.spherometers[0].geometry["foot_circle_mm"] == 140.0
    assert visit.spherometers[0].options["u_reading_mm"] == pytest.approx(0.0003)
    assert visit.readings[0].options["camera_distance_mm"] == 900.0
    assert photos.reader.options.scale_px_per_mm == 5.0


def test_a_budget_of_what_was_logged(run, photos, surface):
    """`fringe budget` opens what `fringe log` wrote: fringes and spherometer, each by itself."""
    run(*photos("3.5.jpg"), *SAGS)
    with pytest.raises(SystemExit) as stop:
        main(["budget", "shop/concave 1", "--json", "--trials", "0"])
    assert not stop.value.code
    names = [one["name"] for one in json.loads(run.printed())["results"]]
    assert {"power", "radius difference", "spherometer, depth", "spherometer, power"} <= set(names)


def test_the_spell_of_work(run, surface):
    """Everything that is said of a spell of work comes back from the session."""
    code, _, err = run(
        "--stage",
        "9 um",
        "--minutes",
        "20",
        "--on-top",
        "tool",
        "--stroke",
        "a third",
        "--lap",
        "pitch 120",
        "--pressure",
        "4 kg",
        "--slurry",
        "thin",
        "--removed",
        "12um",
        "--pits",
        "gone",
    )
    assert (code, err) == (0, "")
    work = sessions(surface)[0].work
    assert dataclasses.asdict(work) == {
        "stage": "9 um",
        "minutes": 20.0,
        "on_top": "tool",
        "stroke": "a third",
        "lap": "pitch 120",
        "pressure": "4 kg",
        "slurry": "thin",
        "removed_mm": pytest.approx(0.012),
        "pits": "gone",
    }


def test_seen_by_eye(run, surface, capsys):
    """What was seen without a camera is kept as such, and all that follows works with it."""
    seen = "rings 3.5 +-0.2 centre"
    code, out, err = run("--by-eye", seen, "--stage", "polish", "--minutes", "5")
    assert (code, err) == (0, "")
    assert "+3.50 ± 0.24 fringes" in out
    assert "verdict            outside" in out
    (session,) = sessions(surface)
    (measured,) = session.measured
    assert (measured.source, measured.power_fringes) == ("eye", 3.5)
    (logged,) = open_session(session.place).visit.readings
    assert (logged.method, logged.options["by_eye"]) == ("eye", seen)
    assert logged.reading.radius_difference_mm > 0
    place = surface.folder
    told = call(capsys, "progress", place, "--json").json["visits"]
    # in the fringes of the tolerance, whose wavelength is 589.29 nm
    power = pytest.approx(3.5 * logged.reading.wavelength_nm / 589.29)
    assert [(row["power_fringes"], row["method"]) for row in told] == [(power, "eye")]
    told = call(capsys, "budget", place, "--json")
    assert (told.status, told.err) == (0, "")
    assert "eye angle" in told.out
    page = place.parent / "page.html"
    assert call(capsys, "report", place, "--out", page).status == 0
    assert "eye angle" in page.read_text("utf-8")


def test_laid_on_another_piece(run, photos, surface, tmp_path):
    """--against keeps a contact with a partner, which says nothing of this surface's tolerance."""
    add_surface(tmp_path / "shop", Surface("convex 1", "convex", 3047.0, 150.0))
    code, out, err = run(*photos("1.0.jpg"), "--against", "convex 1")
    assert (code, err) == (0, "")
    assert "on convex 1" in out
    assert "verdict" not in out
    assert photos.reader.options.plate_radius_mm == 3047.0
    (measured,) = sessions(surface)[0].measured
    assert measured.against == "convex 1"


def test_a_smaller_plate(run, photos, surface):
    """A plate smaller than the work: read over its own circle, carried to the whole aperture.

    Analytic: over a sphere power grows as the square of the diameter.
    """
    code, out, err = run(
        *photos("1.0.jpg", "1.02.jpg"),
        "--aperture",
        "75mm",
        "--place",
        "0mm,0mm",
        "--place",
        "36mm,0mm",
    )
    assert (code, err) == (0, "")
    assert "over 75 mm at 36, 0 mm" in out
    assert photos.reader.options.diameter_mm == 75.0
    (session,) = sessions(surface)
    (measured,) = session.measured
    assert measured.power_fringes == pytest.approx(4.05, abs=0.05)
    logged = open_session(session.place).visit.readings
    assert [(one.aperture_mm, one.place_mm) for one in logged] == [
        (75.0, (0.0, 0.0)),
        (75.0, (36.0, 0.0)),
    ]


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
        (("--when", "yesterday", "--remark", "x"), "is not a time"),
        (("--remark", "x", "--replaces", "7"), "no session"),
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
    assert options == ReadOptions(lamp("hene"), edge, 150.0, 3048.6, "concave", 900.0, "edge", 4.0)


def test_raw_h5py_finds_the_photograph(run, photos, surface, tmp_path):
    """The file that the command names holds the photograph's bytes for plain h5py."""
    _, out, _ = run(*photos("1.5.jpg"), "--json")
    with h5py.File(json.loads(out)["file"]) as file:
        assert file["photograph_1/data"][()].tobytes() == (tmp_path / "1.5.jpg").read_bytes()
        assert file["power_fringes"][0] == 1.5

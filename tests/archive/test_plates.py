"""A plate's own visits in an archive: kept, corrected, struck out, proven, and what follows."""

from __future__ import annotations

import dataclasses
import json
import math
import threading
import time
from datetime import date

import h5py
import numpy as np
import pytest

import fringe
from calling import call, refused
from fringe.archive.instruments import add_instrument, load_instrument
from fringe.archive.plate_maps import keep_map, latest_file, latest_map
from fringe.archive.plates.form import keep_form, turning_sessions
from fringe.archive.plates.known import plate_state
from fringe.archive.plates.notes import plate_notes
from fringe.archive.plates.visits import plate_folder, plate_log
from fringe.archive.store.index import list_archive
from fringe.archive.store.session import LoggedReading, Photograph, Visit
from fringe.archive.store.surface import find_surface, list_surfaces, load_surface
from fringe.archive.store.write import write_visit
from fringe.archive.transfer.check import check_archive
from fringe.optics.lamps import lamp
from fringe.optics.zernike import turn_matrix
from fringe.orders.reading import FormFit, Quality, Reading

R_MM, CONTACT_MM, BALL_MM = 3048.5, 70.0, 3.175  # of the plate and of the spherometer


def sagitta_um(radius_mm, form="convex"):
    """What the spherometer reads, by Pythagoras."""
    of_centres = radius_mm + (BALL_MM if form == "convex" else -BALL_MM)
    return 1e3 * (of_centres - math.sqrt(of_centres**2 - CONTACT_MM**2))


@pytest.fixture
def shop(tmp_path):
    """An archive with two plates of opposite form, a spherometer and a surface on one of them."""
    archive = tmp_path / "shop"
    plate = {"form": "convex", "radius_mm": 3048.9, "u_radius_mm": 0.4, "diameter_mm": 160.0}
    add_instrument(archive, "plate", "P7", plate | {"certified": "2020-03-14"})
    other = {"form": "concave", "radius_mm": 3049.0, "diameter_mm": 160.0}
    add_instrument(archive, "plate", "P8", other)
    sizes = {"foot_circle_mm": 2 * CONTACT_MM, "ball_diameter_mm": 2 * BALL_MM}
    unsure = {"u_size_mm": 0.004, "u_ball_diameter_mm": 0.001, "u_reading_um": 0.05}
    add_instrument(archive, "spherometer", "balls", sizes | unsure)
    return archive


@pytest.fixture
def place(shop):
    """Where the plate is."""
    return str(shop / "P7")


def read_on(place, radius_mm=R_MM, **more):
    """Log readings of the spherometer."""
    height = sagitta_um(radius_mm)
    sag = f"{height:.4f}um,{height + 0.02:.4f}um,{height - 0.02:.4f}um"
    return fringe.log_plate_visit(place, spherometer="balls", sag=sag, zero="0um,0.01um", **more)


def test_the_radius_follows_from_the_visits(shop, place):
    """The spherometer's reading lies between, and the uncertainty shrinks."""
    logged = read_on(place)
    before, after = logged.before, logged.after
    assert (logged.number, before.by, after.by) == (1, "record", "visits")
    assert R_MM < after.radius_mm < before.radius_mm
    assert after.u_mm < before.u_mm
    assert [one.kind for one in after.evidence] == ["certificate", "spherometer"]
    assert after.dof == 1
    assert plate_state(shop, "P7").radius_mm == after.radius_mm


def test_a_contact_counts_for_both_plates(shop, place):
    """One logged at P7 against P8 tells P8's radius as well, which its record knows not at all."""
    logged = fringe.log_plate_visit(place, by_eye="rings 1 centre", against="P8", lamp="sodium")
    other = plate_state(shop, "P8")
    # sodium: a fringe over 160 mm is lambda R^2 / r^2
    step = 589.3e-6 / 2 * 2 * R_MM**2 / 80.0**2
    assert other.radius_mm - logged.after.radius_mm == pytest.approx(step, rel=0.05)
    assert other.u_mm > logged.after.u_mm
    assert [(one.kind, one.plate, one.visit) for one in other.evidence if one.counts] == [
        ("contact", "P7", 1)
    ]


def test_a_correction_and_a_strike(shop, place):
    """Numbers stay, what is not said is taken over, and a struck visit counts no more."""
    read_on(place, 3047.0, remark="first")
    wrong = plate_state(shop, "P7").radius_mm
    height = sagitta_um(R_MM)
    mended = fringe.log_plate_visit(
        place, spherometer="balls", sag=f"{height:.3f}um", zero="0um", replaces=1
    )
    assert (mended.number, mended.visit.remarks) == (1, "first")
    assert mended.after.radius_mm > wrong
    struck = fringe.log_plate_visit(place, strike=1, remark="dust under a ball")
    assert struck.number == 1
    assert struck.after.radius_mm == 3048.9
    assert [one["struck"] for one in struck.after.to_json(date(2026, 1, 1))["visits"]] == [True]
    with pytest.raises(fringe.BadInput, match="struck out already"):
        fringe.log_plate_visit(place, strike=1, remark="again")
    assert check_archive(shop).problems == ()


def test_certificates_and_when_the_next_is_due(shop, place):
    """A later certificate supersedes the record's; the interval that was said carries over."""
    fringe.log_plate_visit(
        place, radius="3048.70mm", radius_u_mm=0.1, certified="2022-02-28", recalibrate="1 year"
    )
    logged = fringe.log_plate_visit(
        place, radius="3048.60mm", radius_u_mm=0.1, certified="2024-02-29"
    )
    known = logged.after
    assert (known.radius_mm, known.u_mm) == pytest.approx((3048.6, 0.1), rel=1e-5)
    assert (known.certified, known.due) == (date(2024, 2, 29), date(2025, 2, 28))
    assert known.overdue(date(2025, 2, 28)) is None
    assert "was due for recalibration on 2025-02-28" in known.overdue(date(2025, 3, 1))
    assert [one.counts for one in known.evidence] == [False, False, True]


@pytest.fixture
def work(shop):
    """A surface on the plate, with a reading, judged by the plate's record."""
    call_words = ("--form", "concave", "--radius", "3048mm", "--diameter", "150mm")
    return shop, (*call_words, "--plate", "P7", "--lamp", "sodium", "--tolerance-power", "2")


def test_what_hangs_on_a_plate(work, place, capsys):
    """A changed radius is said wherever it is used, and taken over where that is asked for."""
    shop, words = work
    name = f"{shop}/concave 1"
    assert call(capsys, "surface", "add", str(shop), "concave 1", *words).status == 0
    assert call(capsys, "log", name, "--by-eye", "rings 1 centre").status == 0
    assert plate_notes(find_surface(name)) == ()
    read_on(place)
    now = plate_state(shop, "P7")
    line = "by its visits, and this surface is judged with"
    assert line in " ".join(call(capsys, "progress", name).out.split())
    listed = call(capsys, "surfaces", str(shop), "--next", "--json").json["surfaces"]
    assert [(one["name"], len(one["of_plate"])) for one in listed] == [("concave 1", 1)]
    found = call(capsys, "plate", "surfaces", place, "--json").json["surfaces"][0]
    assert (found["outdated"], found["visits"]) == (True, [1])
    moved = found["now"]["radius_mm"] - found["then"]["radius_mm"]
    assert moved == pytest.approx(now.radius_mm - 3048.9, abs=1e-3)
    session = next(find_surface(name).folder.glob("0001*.h5"))
    before = session.read_bytes()
    assert call(capsys, "plate", "adopt", place).status == 0
    surface = find_surface(name)
    assert (surface.plate.radius_mm, surface.version) == (now.radius_mm, 2)
    assert session.read_bytes() == before
    assert load_surface(surface.folder, 1).plate.radius_mm == 3048.9
    assert plate_notes(surface) == ()
    kept = call(capsys, "plate", "surfaces", place, "--json").json["surfaces"][0]
    assert kept["then"]["radius_mm"] == found["then"]["radius_mm"]
    assert check_archive(shop).problems == ()


def test_an_overdue_plate_is_named_where_it_is_used(work, place, capsys):
    """In the log, the progress, the list of instruments and the report."""
    shop, words = work
    name = f"{shop}/concave 1"
    call(capsys, "surface", "add", str(shop), "concave 1", *words)
    said = ("--radius", "3048.9mm", "--radius-u", "0.4mm", "--certified", "2020-03-14")
    call(capsys, "plate", "log", place, *said, "--recalibrate", "2 years")
    late = "due for recalibration on 2022-03-14"
    for command in (
        ("log", name, "--by-eye", "rings 1 centre"),
        ("progress", name),
        ("instrument", "list", str(shop)),
        ("plate", "show", place),
        ("surfaces", str(shop), "--next"),
    ):
        assert late in " ".join(call(capsys, *command).out.split()), command
    page = shop.parent / "report.html"
    assert call(capsys, "report", name, "--out", str(page)).status == 0
    assert late in page.read_text("utf-8")


def test_plates_are_no_surfaces(shop, place, capsys):
    """Their folder is in no list of surfaces, and `fringe log` keeps no visit in it."""
    read_on(place)
    assert list_surfaces(shop) == []
    assert (shop / "P7.plate").is_dir()
    assert refused(capsys, "log", str(shop / "plate: P7"), "--remark", "x")
    words = ("--form", "convex", "--radius", "3m", "--diameter", "100mm")
    assert refused(capsys, "surface", "add", str(shop), "plate: P9", *words)


def test_two_at_once(shop, place):
    """Visits that are logged at one moment are all kept, each with a number of its own."""
    fringe.log_plate_visit(place, remark="first")
    numbers, errors = [], []

    def write():
        try:
            numbers.append(fringe.log_plate_visit(place, remark="at once").number)
        except Exception as error:
            errors.append(error)

    threads = [threading.Thread(target=write) for _ in range(4)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert (errors, sorted(numbers)) == ([], [2, 3, 4, 5])
    assert check_archive(shop).problems == ()


def test_the_first_visits_of_two_at_once(shop, place):
    """Where both make the plate's folder, both are kept in one."""
    threads = [threading.Thread(target=read_on, args=(place,)) for _ in range(2)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert [path.name for path in shop.glob("*.plate")] == ["P7.plate"]
    assert len(plate_state(shop, "P7").to_json(date(2026, 1, 1))["visits"]) == 2


def tampered_reading(path):
    """Change a reading in place."""
    with h5py.File(path, "r+") as file:
        file["spherometer_1/height_mm"][0] += 0.001


@pytest.mark.parametrize(
    "tamper",
    [
        tampered_reading,
        lambda path: path.unlink(),
        lambda path: path.write_bytes(path.read_bytes()[:-50]),
        lambda path: path.with_name("surface-0001.json").unlink(),
    ],
    ids=["changed", "deleted", "cut", "record"],
)
def test_a_check_finds_tampering(shop, place, tamper):
    """A plate's visits are proven as a surface's are."""
    path = read_on(place).path
    read_on(place)
    assert check_archive(shop).problems == ()
    tamper(path)
    assert check_archive(shop).problems != ()


def test_plates_leave_and_come_back(work, place, capsys):
    """Export and import keep a plate's visits; a surface that moves takes its plate along."""
    shop, words = work
    read_on(place)
    out, other = shop.parent / "p7.nc", shop.parent / "other"
    assert call(capsys, "export", f"{shop}/plate: P7", str(out)).status == 0
    assert call(capsys, "import", str(out), str(other)).status == 0
    assert [path.name for path in other.glob("*.plate")] == ["P7.plate"]
    assert list_surfaces(other) == []
    # alone there: the other plates that were read by the same spherometer did not come along
    assert plate_state(other, "P7").radius_mm == plate_state(shop, "P7").radius_mm
    assert plate_state(other, "P7").plate.values == plate_state(shop, "P7").plate.values
    assert check_archive(other).problems == ()
    call(capsys, "surface", "add", str(shop), "concave 1", *words)
    third = shop.parent / "third"
    assert call(capsys, "surface", "move", f"{shop}/concave 1", str(third)).status == 0
    assert plate_state(third, "P7").radius_mm == plate_state(shop, "P7").radius_mm
    assert check_archive(third).problems == ()
    fourth, known = shop.parent / "fourth", plate_state(shop, "P7").radius_mm
    assert call(capsys, "surface", "move", f"{shop}/plate: P7", str(fourth)).status == 0
    assert plate_state(fourth, "P7").radius_mm == known
    assert plate_state(shop, "P7").by == "record"
    assert check_archive(fourth).problems == ()


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ((), "there is nothing to log"),
        (("--remark", " "), "there is nothing to log"),
        (("--by-eye", "rings 1 centre", "--against", "P8"), "plate P7 has no usual lamp"),
        (("--sag", "800um"), "say which spherometer"),
        (("--spherometer", "balls"), "needs its readings"),
        (("--sag", "300um", "--spherometer", "balls"), "--yes logs it all the same"),
        (("--by-eye", "rings 1 centre", "--lamp", "sodium"), "say which plate it lay on"),
        (("--by-eye", "rings 1 centre", "--against", "P9"), "no plate named 'P9'"),
        (("--by-eye", "rings 1 centre", "--against", "P7"), "is convex like P7"),
        (("--radius", "3048mm"), "a certificate has a date"),
        (("--certified", "soon"), "--certified: 'soon' is not a date"),
        (("--recalibrate", "24"), "write '24 months'"),
        (("--strike", "1"), "no visits yet"),
    ],
)
def test_bad_input_keeps_nothing(shop, place, capsys, words, line):
    """One line that says what to do; no folder is made."""

    assert line in refused(capsys, "plate", "log", place, *words)
    assert list(shop.glob("*.plate")) == []


def test_an_edited_certificate_is_passed_over(shop, place):
    """A visit that tells no radius is named, and the rest counts."""
    read_on(place)
    path = fringe.log_plate_visit(
        place, radius="3048.60mm", radius_u_mm=0.1, certified="2024-02-29"
    ).path
    with h5py.File(path, "r+") as file:
        values = json.loads(file.attrs["inputs"].decode())
        values["certificate"]["radius_mm"] = None
        del file.attrs["inputs"]
        file.attrs["inputs"] = json.dumps(values).encode()
    known = plate_state(shop, "P7")
    assert known.problems
    assert [one.kind for one in known.evidence] == ["certificate", "spherometer"]


TERMS = ((2, -2), (2, 2), (3, -1), (3, 1))
OF_PLATE, OF_WORK = np.array([0.1, -0.2, 0.05, 0.0]), np.array([0.3, 0.1, 0.0, -0.1])


def log_turning_test(shop, rng, *, cut_off=False):
    """Log a turning test as its photographs would be read: four positions of the work."""
    angles = [0.0, 72.0, 144.0, 216.0]
    readings = []
    for place, angle in enumerate(angles, 1):
        turn = turn_matrix(TERMS, math.radians(angle))
        seen = OF_PLATE + turn @ OF_WORK + rng.normal(0, 0.005, 4)
        form = FormFit(TERMS, seen, 0.005**2 * np.eye(4))
        reading = Reading(589.3, Quality(0.8, 1.0, 0.1), sense="centre", form=form)
        options = {"diameter_mm": 150.0}
        readings.append(LoggedReading(reading, "photograph", (place,), lamp("sodium"), options))
    photographs = tuple(Photograph(f"{i}.png", rng.bytes(20)) for i in range(4))
    inputs = {"turning": {"turned_deg": angles}}
    visit = Visit(readings=tuple(readings), photographs=photographs, inputs=inputs)
    write_visit(load_surface(plate_folder(shop, "P7")), visit)
    if not cut_off:
        keep_form(shop, plate_log(shop, load_instrument(shop, "plate", "P7")))


def test_the_form_follows_from_turning_tests(shop, place, rng):
    """The map that counts is the mean of the tests that stand; without any none counts."""
    fringe.log_plate_visit(place, remark="before")
    log_turning_test(shop, rng)
    first = latest_map(shop, "P7")
    wanted = [OF_PLATE[TERMS.index(term)] * 589.3 / 2 for term in first.terms]
    assert first.values_nm == pytest.approx(wanted, abs=4.0)
    log_turning_test(shop, rng)
    both = latest_file(shop, "P7")
    assert both.visits == (2, 3)
    assert np.trace(both.known.covariance()) == pytest.approx(
        np.trace(first.covariance()) / 2, rel=0.01
    )
    assert plate_state(shop, "P7").by == "record"  # a turning test tells no radius
    fringe.log_plate_visit(place, strike=3, remark="the mark was elsewhere")
    assert latest_map(shop, "P7") == first
    fringe.log_plate_visit(place, strike=2, remark="the mark was elsewhere")
    assert latest_map(shop, "P7") is None
    assert check_archive(shop).problems == ()


def test_a_map_that_was_kept_by_itself_comes_back(shop, place, rng):
    """Where the tests among the visits are struck out, the map from before counts again."""
    fringe.log_plate_visit(place, remark="before")
    log_turning_test(shop, rng)
    found = latest_map(shop, "P7")
    fringe.log_plate_visit(place, strike=2, remark="for the test")
    by_itself = dataclasses.replace(found, when="2020-01-01")
    keep_map(shop, by_itself, {})
    log_turning_test(shop, rng)
    assert latest_map(shop, "P7") != by_itself
    fringe.log_plate_visit(place, strike=3, remark="the mark was elsewhere")
    assert latest_map(shop, "P7") == by_itself


def test_a_map_that_its_writer_did_not_come_to(shop, place, rng, capsys):
    """Killed between a visit and its map: the check tells, and the next command keeps it."""
    fringe.log_plate_visit(place, remark="before")
    log_turning_test(shop, rng)
    log_turning_test(shop, rng, cut_off=True)
    assert latest_file(shop, "P7").visits == (2,)
    told = check_archive(shop).problems
    assert [f"`fringe plate show {place}` finishes that" in one for one in told] == [True]
    assert call(capsys, "plate", "show", place).status == 0
    assert latest_file(shop, "P7").visits == (2, 3)
    assert check_archive(shop).problems == ()
    log = plate_log(shop, load_instrument(shop, "plate", "P7"))
    assert keep_form(shop, log) is None
    by_itself = dataclasses.replace(latest_map(shop, "P7"), when="2020-01-01")
    keep_map(shop, by_itself, {}, sessions=turning_sessions(log))  # as `fringe turning --keep`
    plate_state(shop, "P7")
    assert latest_map(shop, "P7") == by_itself


def test_a_first_visit_asks_about_a_known_photograph(work, place, capsys):
    """One that is in a surface's visit already is hardly the plate's."""
    shop, words = work
    call(capsys, "surface", "add", str(shop), "concave 1", *words)
    photo = shop.parent / "rings.png"
    made = ("--power", "6", "--sense", "centre", "--seed", "1", "--size", "300")
    edge = ("--edge", "149.5,149.5,126")
    assert call(capsys, "synth", "--out", str(photo), *made).status == 0
    name = f"{shop}/concave 1"
    assert call(capsys, "log", name, str(photo), "--sense", "centre", *edge).status == 0
    list_archive(shop, now_ns=time.time_ns() + 10**10)  # keeps what it says of each
    contact = (str(photo), "--against", "P8", "--lamp", "sodium", "--sense", "centre", *edge)
    said = refused(capsys, "plate", "log", place, *contact)
    assert "this photograph is in visit 1 of concave 1 already" in said
    assert not list(shop.glob("*.plate"))
    assert call(capsys, "plate", "log", place, *contact, "--yes").status == 0


def test_a_contradicted_radius_is_told_as_less_certain(shop, place, capsys):
    """Readings that are many uncertainties off the certificate: in words and numbers."""
    read_on(place, 3045.0)
    known = call(capsys, "plate", "show", place, "--json").json
    assert known["widened"] >= known["birge_ratio"] > 2
    assert known["contradictions"]
    said = " ".join(call(capsys, "plate", "show", place).out.split())
    assert "times what the evidence says (" in said


def test_visits_that_may_not_be_read_are_not_passed_over(shop, place, capsys, monkeypatch):
    """A closed folder is named; the record alone would say too much."""
    read_on(place)
    monkeypatch.setattr("fringe.archive.plates.visits.os.access", lambda *_: False)
    line = "P7.plate: the plate's visits cannot be read: permission denied"
    assert line in refused(capsys, "plate", "show", place)


def test_an_archive_is_no_plate(shop, capsys):
    """Where the plate's name is forgotten, one is told as it is to be written."""
    assert f"say which plate, as {shop / 'P7'}" in refused(capsys, "plate", "show", str(shop))

"""`fringe pair` from what was logged of both surfaces, as a person and a program call it."""

from __future__ import annotations

import dataclasses
import hashlib
import math

import pytest
from PIL import Image

from calling import call, refused
from fringe.archive.instruments import add_instrument
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Plate, Surface, add_surface, find_surface
from fringe.archive.store.write import log_visit
from fringe.archive.views.sagittas import sagitta_readings
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.spheres import power_fringes
from fringe.optics.spherometer import reading_from_radius_mm
from sample_visits import hours, power_reading

WAVE = 589.29
POLISH = Work("polish", 30.0, "tool", rested_minutes=600.0)
GEOMETRY = {"name": "balls", "foot_circle_mm": 100.0, "ball_diameter_mm": 6.35, "u_size_mm": 0.02}


def reading(power, u95=0.1, **fields):
    """A logged reading of power alone."""
    sense = "centre" if power >= 0 else "edge"
    return dataclasses.replace(power_reading(power, u95, sense, WAVE), **fields)


def photographed(power, name="rings.png", **fields):
    """A logged reading of the photograph of this name."""
    one = reading(power, **fields)
    digest = hashlib.sha256(name.encode()).hexdigest()
    return dataclasses.replace(one, reading=dataclasses.replace(one.reading, reading_id=digest))


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """A convex and a concave, each on its plate, in an archive `shop` of the working folder."""
    monkeypatch.chdir(tmp_path)
    tolerance = Tolerance(2.0, wavelength_nm=WAVE)
    for name, form, plate in (
        ("convex 1", "convex", Plate("P8", 3048.0, 0.2)),
        ("concave 1", "concave", Plate("P7", 3048.0, 0.2)),
    ):
        add_surface(
            tmp_path / "shop",
            Surface(name, form, 3048.0, 150.0, plate=plate, tolerance=tolerance, lamp="sodium"),
        )

    def log(name, hour, *readings, **fields):
        surface = find_surface(f"shop/{name}")
        return log_visit(surface, Visit(when=hours(hour), readings=readings, **fields))

    return log


def pair(capsys, *words):
    """Run `fringe pair` on the two."""
    return call(capsys, "pair", "shop/convex 1", "shop/concave 1", *words)


def test_contacts_on_plates(shop, capsys):
    """By two plates: the mismatch, what they show together, the evidence and the answer first."""
    shop("convex 1", 1, reading(1.5), work=POLISH)
    shop("concave 1", 2, reading(-0.8), work=POLISH)
    told = pair(capsys, "--tolerance-power", "3")
    assert (told.status, told.err) == (0, "")
    assert told.out.startswith("The pair matches (")
    assert "stop: the pair is proven to match" in told.out
    assert "convex 1 on P8, 2026-03-14 " in told.out
    values = pair(capsys, "--tolerance-power", "3", "--json").json
    # analytic: 1.5 and -0.8 on plates of one radius leave 0.7 between them
    assert values["power_fringes"] == pytest.approx(0.7, abs=0.01)
    assert values["mismatch_mm"] == pytest.approx(
        values["concave"]["radius_mm"] - values["convex"]["radius_mm"]
    )
    assert values["verdict"]["state"] == "inside"
    assert values["next_step"]["action"] == "stop"
    assert {one["kind"] for one in values["evidence"]} == {
        "contact",
        "certificate",
        "shared",
        "assumed",
    }


def test_one_photograph_logged_twice_counts_once(shop, capsys):
    """A photograph logged again, of either piece, is no more evidence; that is said."""
    shop("concave 1", 2, photographed(0.4, against="convex 1"), work=POLISH)
    once = pair(capsys, "--contact-u", "0", "--json").json
    shop("concave 1", 3, photographed(0.4, against="convex 1"))
    shop("convex 1", 4, photographed(0.4, against="concave 1"))
    again = pair(capsys, "--contact-u", "0", "--json").json
    assert once["power_u95_fringes"] == pytest.approx(0.1, rel=0.01)
    assert again["power_u95_fringes"] == pytest.approx(once["power_u95_fringes"])
    contacts = [one for one in again["evidence"] if one["kind"] == "contact"]
    assert len(contacts) == 1
    assert again["conflicts"] == []
    notes = " ".join(again["notes"])
    assert notes.count("its photograph is that of ") == 2
    assert "visit 2 of concave 1: its photograph is that of " in notes


def test_both_senses_of_one_photograph_are_named(shop, capsys):
    """Logged with both senses, a photograph proves nothing, and both visits are named."""
    shop("concave 1", 2, photographed(3.0, against="convex 1"), work=POLISH)
    shop("concave 1", 3, photographed(-3.0, against="convex 1"))
    said = (
        "one photograph is logged with its contact at the centre (visit 1 of concave 1) and with "
        "its contact at the edge (visit 2 of concave 1): it counts for neither"
    )
    alone = refused(capsys, "pair", "shop/convex 1", "shop/concave 1")
    assert f"pair: {said}, and nothing else was read of the two" in alone
    shop("concave 1", 4, photographed(0.1, "other.png", against="convex 1"))
    told = pair(capsys, "--tolerance-power", "3", "--json").json
    assert told["power_fringes"] == pytest.approx(0.1, abs=0.01)
    assert told["verdict"]["state"] == "unproven"
    (conflict,) = told["conflicts"]
    assert (conflict["kind"], conflict["text"]) == ("photograph", said)
    assert [one["visit"] for one in conflict["visits"]] == [1, 2]
    assert told["next_step"]["text"] == f"{said}; correct the visit that is wrong"
    text = pair(capsys, "--tolerance-power", "3").out
    assert text.startswith("The evidence contradicts itself: nothing is proven")


def test_a_photograph_of_before_the_work(shop, capsys):
    """The photograph of an earlier visit, logged again after work, is no evidence."""
    shop("concave 1", 1, photographed(3.0, against="convex 1"))
    shop("concave 1", 2, photographed(0.1, "new.png", against="convex 1"), work=POLISH)
    shop("concave 1", 3, photographed(3.0, against="convex 1"))
    told = pair(capsys, "--json").json
    assert told["power_fringes"] == pytest.approx(0.1, abs=0.01)
    assert "visit 3 of concave 1: left out, its photograph is that of visit 1 of concave 1" in (
        " ".join(told["notes"])
    )


def test_a_wrong_sense_is_asked_about(shop, capsys):
    """One contact of the wrong sense against two: the visit, by how much, and the question."""
    for hour in (1, 2):
        shop("concave 1", hour, reading(3.0, against="convex 1"), work=Work())
    shop("convex 1", 3, reading(-3.0, against="concave 1"))
    told = pair(capsys, "--tolerance-power", "2", "--json").json
    (conflict,) = told["conflicts"]
    assert conflict["kind"] == "sense"
    assert conflict["visits"] == [{"surface": "convex 1", "visit": 1}]
    question = (
        "with the contact of visit 1 of convex 1 at the centre it would fit: is the sense right?"
    )
    assert conflict["text"].startswith("visit 1 of convex 1 (convex 1 on concave 1, 2026-03-14)")
    assert conflict["text"].endswith(question)
    assert told["contradictions"] == [conflict["text"]]
    turned = {one["name"]: one["fits_turned"] for one in told["evidence"]}
    assert turned["convex 1 on concave 1, 2026-03-14"] is True
    assert list(turned.values()).count(True) == 1
    assert question in told["next_step"]["text"]
    text = " ".join(pair(capsys, "--tolerance-power", "2").out.split())
    assert question in text


def test_what_of_contact_u_is_common(shop, capsys):
    """Analytic: the common part of two layings stays, what is each one's own falls by root two."""
    for hour in (1, 2):
        shop("concave 1", hour, reading(1.0, 0.02, against="convex 1"), work=Work())
    u = {}
    for common in ("0", "0.05"):
        told = pair(capsys, "--contact-common-u", common, "--json").json
        u[common] = told["power_u95_fringes"] / 1.96
    u_read = 0.02 / 1.96
    assert u["0"] == pytest.approx(math.hypot(0.05, u_read) / math.sqrt(2), rel=0.01)
    assert u["0.05"] == pytest.approx(math.hypot(0.05, u_read / math.sqrt(2)), rel=0.01)


def test_either_order(shop, capsys):
    """The two may be named in either order."""
    shop("concave 1", 2, reading(0.4, against="convex 1"), work=POLISH)
    one = pair(capsys, "--json").json
    other = call(capsys, "pair", "shop/concave 1", "shop/convex 1", "--json").json
    assert one["mismatch_mm"] == other["mismatch_mm"]
    assert other["convex"]["name"] == "convex 1"


def test_contact_with_each_other(shop, capsys):
    """Laid on each other, the plates hardly matter; --contact-u is what temperature may do."""
    shop("convex 1", 1, reading(1.5), work=POLISH)
    shop("concave 1", 2, reading(0.4), work=Work("polish", 20.0, "tool"))
    shop("concave 1", 3, reading(1.9, 0.02, against="convex 1"))
    loose = pair(capsys, "--json").json
    tight = pair(capsys, "--contact-u", "0", "--json").json
    assert tight["power_u95_fringes"] == pytest.approx(0.02, rel=0.05)
    assert loose["power_u95_fringes"] == pytest.approx(1.96 * 0.051, rel=0.1)
    assert tight["irregularity_fringes"] == pytest.approx(0.1)


def test_two_contacts_of_one_day_are_told_apart(shop, capsys):
    """A second contact of one piece on one day bears its time."""
    shop("concave 1", 2, reading(0.4, against="convex 1"), work=POLISH)
    shop("concave 1", 3, reading(0.5, against="convex 1"))
    names = [one["name"] for one in pair(capsys, "--json").json["evidence"]]
    assert "concave 1 on convex 1, 2026-03-14" in names
    assert "concave 1 on convex 1, 2026-03-14 12:30" in names


def test_a_plate_that_is_the_partner(tmp_path, shop, capsys):
    """A concave whose plate is the convex itself is a contact of the two."""
    add_surface(
        tmp_path / "shop",
        Surface("concave 2", "concave", 3048.0, 150.0, plate=Plate("convex 1", 3048.0)),
    )
    shop("concave 2", 2, reading(1.1), work=POLISH)
    values = call(capsys, "pair", "shop/convex 1", "shop/concave 2", "--json").json
    assert values["power_fringes"] == pytest.approx(1.1, abs=0.01)
    assert [one["name"] for one in values["evidence"] if one["kind"] == "contact"] == [
        "concave 2 on convex 1, 2026-03-14"
    ]


def test_work_makes_old_evidence_void(shop, capsys):
    """What was read before the last work is left out, on both sides of a contact."""
    shop("convex 1", 1, reading(9.0), work=POLISH)
    shop("concave 1", 2, reading(8.0, against="convex 1"), work=POLISH)
    shop("convex 1", 3, reading(1.0), work=POLISH)
    told = pair(capsys, "--json").json
    notes = " ".join(told["notes"])
    assert "concave 1 on convex 1, 2026-03-14: left out, convex 1 was worked since" in notes
    assert "convex 1: one visit from before the last work left out" in notes
    names = [one["name"] for one in told["evidence"] if one["kind"] == "contact"]
    assert names == ["convex 1 on P8, 2026-03-14"]


def test_corrections_flow_through(shop, capsys):
    """A session that replaces one stands in its place."""
    shop("convex 1", 1, reading(1.5), work=POLISH)
    path = shop("concave 1", 2, reading(5.0, against="convex 1"), work=POLISH)
    shop("concave 1", 2, reading(0.5, against="convex 1"), work=POLISH, replaces=path.stem)
    assert pair(capsys, "--json").json["power_fringes"] == pytest.approx(0.5, abs=0.01)


def test_unknown_sense_is_left_out(shop, capsys):
    """A contact of unknown sense is no evidence, and that is said."""
    shop("concave 1", 2, reading(0.4, against="convex 1"), work=POLISH)
    one = dataclasses.replace(power_reading(3.0, 0.1, "unknown", WAVE))
    shop("convex 1", 3, one)
    assert "where the contact was is not known" in " ".join(pair(capsys, "--json").json["notes"])


def test_the_spherometer_joins_in(tmp_path, shop, capsys):
    """Spherometer readings of both are evidence, and share their ring."""
    add_instrument(
        tmp_path / "shop",
        "spherometer",
        "balls",
        {k: v for k, v in GEOMETRY.items() if k != "name"},
    )
    for i, (name, radius) in enumerate((("convex 1", 3051.0), ("concave 1", 3046.0))):
        surface = find_surface(f"shop/{name}")
        other = "concave" if surface.form == "convex" else "convex"
        work = reading_from_radius_mm(radius, 50.0, surface.form, 3.175)
        plate = reading_from_radius_mm(3048.0, 50.0, other, 3.175)
        readings, _ = sagitta_readings(
            surface, [plate], [work], [0.0], record=GEOMETRY, u_reading_mm=2e-4
        )
        log_visit(surface, Visit(when=hours(i), spherometers=readings, work=POLISH))
    values = pair(capsys, "--json").json
    assert values["mismatch_mm"] == pytest.approx(-5.0, abs=0.5)
    told = power_fringes(-5.0, 3051.0, 150.0, WAVE, "concave")
    assert values["power_fringes"] == pytest.approx(told, abs=0.5)
    assert "ring of balls" in values["unknowns"]


def test_a_smaller_plate_shows_its_zones(shop, capsys):
    """Placements of a smaller plate count for the whole, and their zones are listed."""
    shop("convex 1", 1, reading(1.0), work=POLISH)
    shop(
        "concave 1",
        2,
        *(reading(0.28, aperture_mm=80.0, place_mm=(x, 0.0)) for x in (0.0, 30.0)),
        work=POLISH,
    )
    told = pair(capsys, "--tolerance-power", "2")
    assert "Zones of concave 1" in told.out
    assert "at 30 mm" in told.out
    assert "over 80 mm" in told.out


def test_a_system(shop, capsys, tmp_path):
    """The tolerance is that of a system's pair; a mismatch says which to work on, and how far."""
    (tmp_path / "train.toml").write_text("""
wavelength = "550nm"
pair = ["a", "b"]
[[surface]]
name = "a"
form = "convex"
radius = "3048mm"
diameter = "150mm"
[[surface]]
name = "b"
form = "concave"
radius = "3048mm"
diameter = "150mm"
""")
    shop("convex 1", 1, reading(0.0), work=POLISH)
    shop("concave 1", 2, reading(6.0, against="convex 1"), work=POLISH)
    told = pair(capsys, "--system", "train.toml")
    assert told.out.startswith("The pair does not match (")
    assert "work on concave 1" in " ".join(told.out.split())
    assert "work on top" in " ".join(told.out.split())
    values = pair(capsys, "--system", "train.toml", "--json").json
    assert values["next_step"]["piece"] == "concave 1"
    assert values["next_step"]["power_fringes"] == pytest.approx(-6.0, abs=0.1)


def test_a_picture(shop, capsys, tmp_path):
    """--picture draws it as PNG."""
    shop("concave 1", 2, reading(0.4, against="convex 1"), work=POLISH)
    assert pair(capsys, "--picture", "p.png", "--tolerance-power", "2").status == 0
    with Image.open(tmp_path / "p.png") as image:
        assert image.format == "PNG"


def test_no_tolerance(shop, capsys):
    """Without a tolerance of the two there is an estimate and no verdict."""
    shop("concave 1", 1, reading(3.0))
    shop("concave 1", 2, reading(0.4, against="convex 1"), work=POLISH)
    told = pair(capsys)
    assert told.out.startswith("Laid together: +0.40 ± 0.14 fringes: 0.4 rings, contact at the")
    assert "say how well they must match" in told.out


def test_the_tolerance_of_what_is_made_to_its_partner(shop, capsys):
    """A piece that was read on its partner alone is made to it: its own tolerance is the pair's."""
    shop("concave 1", 2, reading(0.4, against="convex 1"), work=POLISH)
    assert pair(capsys).out.startswith("The pair matches (")
    assert pair(capsys, "--tolerance-power", "0.3").out.startswith("Neither")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("shop/convex 1", "shop/concave 1"), "neither contact nor spherometer"),
        (("shop/convex 1", "shop/convex 1"), "are one surface"),
        (("shop/convex 1", "shop/convex 2"), "are both convex"),
        (("shop/convex 1", "shop/gone"), "gone"),
        (("shop/convex 1", "shop/concave 1", "--picture", "p.svg"), "must end in .png"),
        (("shop/convex 1", "shop/concave 1", "--contact-u", "-1"), "cannot be negative"),
        (("shop/concave 1", "shop/convex 1", "--contact-common-u", "0.1"), "no part of the 0.05"),
        (("shop/convex 1", "shop/concave 1", "--lamp", "candle"), "candle"),
    ],
)
def test_one_line_of_refusal(shop, tmp_path, capsys, words, message):
    """What is no pair, or nothing to go by, gets one clear line."""
    add_surface(tmp_path / "shop", Surface("convex 2", "convex", 3048.0, 150.0))
    assert message in refused(capsys, "pair", *words)

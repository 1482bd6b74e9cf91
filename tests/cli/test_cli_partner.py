"""Work that is made to its partner: logged `--against` it, and judged as on a plate."""

from __future__ import annotations

import pytest

from calling import call
from fringe.archive.store.surface import Plate, Surface, add_surface, find_surface
from fringe.judge.tolerance.verdict import Tolerance

WAVE = 589.29
ON_PARTNER = ("--against", "convex 1")
SPELL = ("--stage", "polish", "--minutes", "60", "--on-top", "work")


@pytest.fixture
def shop(tmp_path, monkeypatch, capsys):
    """A convex and a concave; logs a visit of one of them, an hour after the one before."""
    monkeypatch.chdir(tmp_path)
    for form in ("convex", "concave"):
        one = Surface(
            f"{form} 1",
            form,
            3048.0,
            150.0,
            plate=Plate(f"plate of {form}", 3048.0, 0.1),
            tolerance=Tolerance(1.0, wavelength_nm=WAVE),
            lamp="sodium",
        )
        add_surface(tmp_path / "shop", one)
    count = 0

    def log(name, *words):
        nonlocal count
        count += 1
        when = ("--when", f"2026-03-14T{9 + count:02}:00+00:00")
        done = call(capsys, "log", f"shop/{name}", *words, *when, "--json")
        assert (done.status, done.err) == (0, "")
        return done.json

    return log


def progress(capsys, name="concave 1"):
    return call(capsys, "progress", f"shop/{name}", "--json").json


def test_work_made_to_its_partner_is_judged_as_on_a_plate(shop, capsys):
    """Read on its partner alone, each visit has power, verdict and a next step with minutes."""
    shop("concave 1", *ON_PARTNER, "--by-eye", "rings 8 +-0.1 centre")
    shop("concave 1", *ON_PARTNER, *SPELL, "--by-eye", "rings 6 +-0.1 centre", "--rested", "240")
    told = shop(
        "concave 1", *ON_PARTNER, *SPELL, "--by-eye", "rings 4 +-0.1 centre", "--rested", "240"
    )
    assert told["power_fringes"] == pytest.approx(4.0, abs=0.01)
    assert (told["verdict"], told["partner"]) == ("outside", "convex 1")
    found = progress(capsys)
    assert [row["verdict"] for row in found["visits"]] == ["outside"] * 3
    assert found["partner"] == "convex 1"
    step = found["next_step"]
    # power > 0: the work turns more concave, which it does on top
    assert (step["action"], step["piece_on_top"]) == ("polish", "work")
    assert step["minutes"] > 0
    assert found["rates"]
    text = call(capsys, "progress", "shop/concave 1").out
    assert "power is read against convex 1, the partner that it is made to" in text
    assert "work − plate" not in text


def test_like_surfaces_learn_from_what_is_made_to_its_partner(shop, capsys, tmp_path):
    """What polishing did to a work that lay on its partner is known for the next one."""
    for rings in (8, 6, 4):
        spell = SPELL if rings < 8 else ()
        read = ("--by-eye", f"rings {rings} +-0.1 centre", "--rested", "240")
        shop("concave 1", *ON_PARTNER, *spell, *read)
    one = Surface(
        "concave 2",
        "concave",
        3048.0,
        150.0,
        tolerance=Tolerance(1.0, wavelength_nm=WAVE),
        lamp="sodium",
    )
    add_surface(tmp_path / "shop", one)
    step = shop("concave 2", "--by-eye", "rings 5 +-0.1 centre")["next_step"]
    assert step["forecast"]["learned_from"]["like_surfaces"] == 1
    assert not step["trial"]


def test_readings_on_plate_and_partner_are_told_apart(shop, capsys):
    """With a reading on the plate, that alone judges the surface; the step says where to ask."""
    shop("concave 1", "--by-eye", "rings 3 centre")
    told = shop("concave 1", *ON_PARTNER, "--by-eye", "rings 5 centre")
    assert (told["power_fringes"], told["partner"]) == (None, None)
    assert told["next_step"]["action"] == "remeasure"
    assert "visit 2 was read on convex 1" in told["next_step"]["reason"]
    assert "fringe pair" in told["next_step"]["reason"]
    found = progress(capsys)
    assert [row["power_fringes"] for row in found["visits"]] == [pytest.approx(3.0, abs=0.01), None]
    assert found["notes"] == [
        "visit 2: read on convex 1, which counts for the pair (`fringe pair`)"
    ]


def test_work_on_the_partner_moves_the_zero(shop, capsys):
    """What was read before the partner was worked does not count, and that is said."""
    shop("concave 1", *ON_PARTNER, "--by-eye", "rings 5 centre")
    shop("convex 1", *SPELL)
    found = progress(capsys)
    assert found["visits"][0]["power_fringes"] is None
    assert "visit 1 left out: convex 1 was worked since" in found["notes"]
    shop("concave 1", *ON_PARTNER, "--by-eye", "rings 2 centre")
    assert [row["power_fringes"] for row in progress(capsys)["visits"]] == [
        None,
        pytest.approx(2.0, abs=0.01),
    ]


def test_a_plate_by_name_is_a_plate(shop, capsys):
    """`--against` the surface's own plate is a reading on its plate."""
    surface = Surface(
        "concave 2",
        "concave",
        3048.0,
        150.0,
        plate=Plate("convex 1"),
        tolerance=Tolerance(1.0, wavelength_nm=WAVE),
        lamp="sodium",
    )
    add_surface(find_surface("shop/convex 1").folder.parent, surface)
    shop("concave 2", *ON_PARTNER, "--by-eye", "rings 5 centre")
    told = shop("concave 2", "--by-eye", "rings 4 centre")
    assert told["partner"] is None
    rows = progress(capsys, "concave 2")["visits"]
    assert [row["power_fringes"] for row in rows] == pytest.approx([5.0, 4.0], abs=0.01)


def test_the_partners_tolerance_where_the_work_has_none(shop, capsys, tmp_path):
    """Where the partner's plate is the work, the partner's tolerance is of this contact."""
    for name, form, plate, tolerance in (
        ("convex 3", "convex", Plate("concave 3"), Tolerance(1.0, wavelength_nm=WAVE)),
        ("concave 3", "concave", Plate(), Tolerance()),
    ):
        one = Surface(name, form, 3048.0, 150.0, plate=plate, tolerance=tolerance, lamp="sodium")
        add_surface(tmp_path / "shop", one)
    told = shop("concave 3", "--against", "convex 3", "--by-eye", "rings 5 centre")
    assert told["verdict"] == "outside"
    assert "judged by the tolerance of convex 3, whose plate it is" in told["notes"]


def test_budget_and_report_judge_what_is_made_to_its_partner(shop, capsys, tmp_path):
    """Budget and report give the verdict that the log gave, and name the partner."""
    told = shop("concave 1", *ON_PARTNER, "--by-eye", "rings 5 +-0.1 centre")
    values = call(capsys, "budget", "shop/concave 1", "--trials", "0", "--json").json
    assert values["verdict"]["state"] == told["verdict"] == "outside"
    assert "power +5.00" in values["verdict"]["reason"]
    done = call(capsys, "report", "shop/concave 1", "--out", "page.html")
    assert done.status == 0
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "against convex 1" in page
    assert "Proven outside" in page


def pair(capsys, *words):
    return call(capsys, "pair", "shop/convex 1", "shop/concave 1", *words)


def test_the_pairs_step_has_stage_minutes_and_piece(shop, capsys):
    """Which of the two, in which stage, how long and what on top, by that piece's own log."""
    for rings in (8, 6, 4):
        spell = SPELL if rings < 8 else ()
        read = ("--by-eye", f"rings {rings} +-0.1 centre", "--rested", "240")
        shop("concave 1", *ON_PARTNER, *spell, *read)
    step = pair(capsys, "--json").json["next_step"]
    assert (step["action"], step["piece"], step["on_top"]) == ("work", "concave 1", "work")
    assert step["stage"] == "polish"
    # two hours took off four fringes; four are left, and a spell may be short of that
    assert 15 <= step["minutes"] <= 180
    assert step["forecast"] is not None
    told = " ".join(pair(capsys).out.split())
    assert "work on concave 1" in told
    assert "; polish about " in told
    assert "min, work on top" in told


def test_the_other_piece_is_worked_by_its_own_log(shop, capsys):
    """A contact that is logged of the convex counts for the concave, whose stage is its own."""
    shop("concave 1", *SPELL)
    shop("convex 1", "--against", "concave 1", "--by-eye", "rings 4 edge", "--rested", "240")
    step = pair(capsys, "--tolerance-power", "1", "--json").json["next_step"]
    assert (step["action"], step["piece"]) == ("work", "concave 1")
    # contact at the edge: the concave is too deep, so it is turned shallower below its tool
    assert step["on_top"] == "tool"


def test_a_match_by_plates_alone_takes_all_evidence(shop, capsys):
    """Where the two never lay on each other, the estimate by both plates is what is worked off.

    Analytic: powers on plates of one radius add up, -6 + 4 of the two together; less than zero
    is too deep a concave, or too shallow a convex, for the other: it turns convex below its tool.
    """
    for name, rings in (("convex 1", "rings 6 edge"), ("concave 1", "rings 4 centre")):
        shop(name, "--by-eye", rings, *SPELL, "--rested", "240")
    values = pair(capsys, "--tolerance-power", "1", "--json").json
    step = values["next_step"]
    assert values["verdict"]["state"] == "outside"
    assert (step["action"], step["on_top"]) == ("work", "tool")
    assert values["power_fringes"] == pytest.approx(-2.0, abs=0.05)
    assert step["power_fringes"] == pytest.approx(-values["power_fringes"])

"""Stages by grit, size or name; and pits: what the last grit left, and when it is gone."""

from __future__ import annotations

import pytest

from fringe.errors import BadInput
from fringe.judge.state.abrasives import (
    Spell,
    abrasives_table,
    check_stage,
    pit_factor,
    pits,
    stage,
)

SERIES = abrasives_table()["series"]


@pytest.mark.parametrize(
    "name",
    [
        "#400",
        "F400",
        "f 400",
        "400 grit",
        "grit 400",
        "400",
        "no. 400",
        "carborundum #400",
        "silicon carbide F400, new",
    ],
)
def test_one_grit_by_every_name(name):
    """However a grit is written, its grains have one size and it is one kind of work."""
    found = stage(name)
    assert (found.size_um, found.key, found.polish) == (17.3, "17.3 um", False)
    assert found.name == name


@pytest.mark.parametrize(
    ("name", "size_um"),
    [
        ("P800", 22.0),
        ("9 um", 9.0),
        ("9µm", 9.0),
        ("alumina 0,5 micron", 0.5),
        ("JIS 2000", 6.7),
        ("#2000", 6.7),
        ("3 microns", 3.0),
        ("garnet", None),
        ("step 2", None),
        ("C4000X", None),
    ],
)
def test_sizes(name, size_um):
    """A series or a size is understood; anything else has none and is itself."""
    assert stage(name).size_um == size_um
    if size_um is None:
        assert stage(name).key == name.casefold()


@pytest.mark.parametrize("name", ["polish", "Polishing, pitch", "cerium oxide 1 um", "figuring"])
def test_polishing(name):
    """Polishing is one kind of work, finer than every grit."""
    assert stage(name).polish
    assert stage(name).key == "polish"
    assert stage(name).fineness > stage("0.5 um").fineness > stage("#400").fineness


@pytest.mark.parametrize(
    ("name", "message"),
    [("", "empty"), ("  ", "empty"), ("0 um", "no grain"), ("9000 um", "no grain")],
)
def test_grains_that_cannot_be(name, message):
    """An empty stage, and grains of no size or of a fist's, are refused."""
    with pytest.raises(BadInput, match=message):
        check_stage(name)
    assert check_stage("cerium 0.001 um").polish


def test_every_entry_has_a_source():
    """Each series says where its sizes are from, and whether that was read or recalled."""
    for series in [*SERIES, abrasives_table()["pits"], abrasives_table()["polish"]]:
        assert series["source"]
        assert series["trust"] in ("read", "memory")
        assert series["trust"] == "read" or series["source"] in (
            "from memory",
            "common practice, no source",
        )


@pytest.mark.parametrize("prefix", sorted({one["prefix"] for one in SERIES}))
def test_finer_numbers_are_smaller_grains(prefix):
    """A higher number is a smaller grain over all tables of a series, a larger one if in um."""
    tables = [one for one in SERIES if one["prefix"] == prefix]
    sizes = {float(n): um for one in tables for n, um in one["sizes"].items()}
    ordered = [sizes[number] for number in sorted(sizes)]
    assert ordered == sorted(ordered, reverse=not tables[0].get("in_um", False))
    assert len(set(ordered)) == len(ordered)


@pytest.mark.parametrize(
    ("name", "size_um"),
    [
        ("W20", 17.0),
        ("w 3,5", 3.0),
        ("M10", 8.5),
        ("P400 film", 35.0),
        ("P2000", 10.0),
        ("15mic", 15.0),
        ("9 mic alumina", 9.0),
        ("3 microns", 3.0),
        ("diamond paste 6", 6.0),
        ("diamond 0.25", 0.25),
    ],
)
def test_names_that_practice_uses(name, size_um):
    """Powders by the coarser end of their range, paper, paste and microns have their grain."""
    assert (stage(name).size_um, stage(name).known) == (size_um, True)


@pytest.mark.parametrize(
    ("name", "known"),
    [("#3000", True), ("20", True), ("own (grit)", True), ("pad (polish)", True), ("3F", False)],
)
def test_what_is_a_stage(name, known):
    """A mesh number, or a word that says so, is a stage; a bare number is never one of microns."""
    assert stage(name).known == known
    assert stage(name).size_um is None


def spell(name, minutes=20.0, removed=None, seen=None):
    """A spell of work in a stage."""
    return Spell(stage(name), minutes, removed, seen)


def test_depth_is_the_factor_times_the_grain():
    """Analytic: three grains of #220, or another factor if one is given."""
    found = pits([spell("#220"), spell("#400")])
    assert pit_factor() == 3.0
    assert (found.left_by, found.depth_um) == ("#220", pytest.approx(159.0))
    assert pits([spell("#220"), spell("#400")], factor=2.0).depth_um == pytest.approx(106.0)
    assert (found.removed_um, found.gone, found.minutes_left) == (None, None, None)


def test_gone_when_the_depth_is_taken_off():
    """A grit is done when its spells, together, took off the last one's pits."""
    spells = [spell("#220"), spell("#400", removed=100.0), spell("#400", removed=40.0)]
    found = pits(spells)
    assert (found.removed_um, found.gone) == (140.0, False)
    assert found.minutes_left == pytest.approx(19.0 / (140 / 40))
    done = pits([*spells, spell("#400", removed=30.0)])
    assert (done.removed_um, done.gone, done.minutes_left) == (170.0, True, None)


def test_what_was_not_gauged_is_learned():
    """Spells that were not gauged count at the rate of those that were, of an earlier run too."""
    earlier = [spell("#400", 30.0, 60.0), spell("#220"), spell("#400", 25.0)]
    assert pits(earlier).removed_um == pytest.approx(50.0)
    assert pits([spell("#220"), spell("#400", 25.0)]).removed_um is None


def test_the_loupe_counts_most():
    """What a loupe said last stands over what was gauged."""
    spells = [spell("#220"), spell("#400", removed=20.0, seen="left")]
    assert pits(spells).gone is False
    assert pits([*spells, spell("#400", removed=5.0, seen="gone")]).gone is True
    assert pits([*spells, spell("#400", removed=5.0, seen="gone")]).minutes_left is None
    assert pits([spell("#220"), spell("#400", removed=900.0, seen="left")]).gone is False


def test_no_pits_to_remove():
    """The first grit, one of unknown size, and one after a finer one have none to remove."""
    assert pits([]) is None
    assert pits([spell("#220"), spell("#220")]) is None
    assert pits([spell("garnet"), spell("#400")]) is None
    assert pits([spell("#400"), spell("#220")]) is None
    assert pits([spell("#220"), spell("polish")]).left_by == "#220"

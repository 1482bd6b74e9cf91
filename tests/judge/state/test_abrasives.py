"""Stages by grit, size or name; and pits: what the last grit left, and when it is gone."""

from __future__ import annotations

import pytest

from fringe.errors import BadInput
from fringe.judge.state.abrasives import (
    abrasives_table,
    check_stage,
    pit_factor,
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


def test_depth_of_pits_over_the_grain():
    """The factor is the one that the table's source states."""
    assert pit_factor() == 3.0

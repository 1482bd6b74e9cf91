"""Visits as a table: out, and older records in."""

from __future__ import annotations

import csv
import dataclasses
import io
import math
import os

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session, session_files
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import find_surface
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.export import export_surface
from fringe.archive.transfer.imports import import_table
from fringe.archive.transfer.table import COLUMNS, table_text, visits_from_table
from fringe.archive.views.sagittas import sagitta_readings
from fringe.errors import BadInput
from fringe.judge.state.visits import Work
from sample_visits import full_surface, full_visit, hours, plain_visit, power_reading
from shared_files import copied_once


def shop_of_every_kind(folder):
    """An archive `shop` of a surface with every kind of visit."""
    rng = np.random.default_rng(int(os.environ["FRINGE_TEST_SEED"]))
    made = full_surface(folder / "shop")
    log_visit(made, full_visit(rng), now=hours(0))
    log_visit(made, plain_visit("=1+1; a, \"b\"\nand 'c'"), now=hours(1))
    readings, _ = sagitta_readings(made, [0.808, 0.8082], [0.793, 0.7931], [0.0])
    log_visit(made, Visit(spherometers=readings, work=Work("#400", 25.0, "tool")), now=hours(2))
    log_visit(made, Visit(readings=(power_reading(2.0),), replaces="2"), now=hours(3))


@pytest.fixture
def surface(tmp_path, tmp_path_factory):
    """A surface with every kind of visit: full, remark alone, spherometer, and a correction."""
    copied_once(tmp_path_factory, tmp_path, shop_of_every_kind)
    return find_surface(f"{tmp_path}/shop/concave 1")


def table_of(surface, tmp_path):
    return export_surface(surface, tmp_path / "visits.csv").path


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_one_row_a_reading(surface, tmp_path):
    """Each reading has a row, a visit without one too; numbers are written to the last digit."""
    rows = rows_of(table_of(surface, tmp_path))
    assert tuple(rows[0]) == COLUMNS
    assert [int(row["sequence"]) for row in rows] == [1, 1, 1, 1, 2, 3, 4]
    assert [row["method"] for row in rows] == [
        "photograph",
        "photograph",
        "spherometer",
        "spherometer",
        "",
        "spherometer",
        "photograph",
    ]
    assert [row["counts"] for row in rows] == ["yes"] * 4 + ["no", "yes", "yes"]
    first = open_session(session_files(surface.folder)[0])
    for row, logged in zip(rows, first.visit.readings, strict=False):
        assert float(row["power_fringes"]) == logged.reading.power_fringes
        assert float(row["edge_b_px"]) == logged.reading.edge.b
        assert row["photographs"] == "dim.tif; rings ä.jpg"


def bare(summary):
    """What a table keeps of a visit for judging, without its identity."""
    return dataclasses.replace(
        summary,
        session_id="",
        place=None,
        sequence=0,
        previous_session=None,
        replaces=None,
        logged_at=summary.when,
        when_given=True,
        photographs=0,
        refused=0,
        measured=(),
        digests=(),
        seen=(),
        told_step={},
    )


def test_there_and_back(surface, tmp_path):
    """A table brought into another surface gives the same visits, values and order."""
    path = table_of(surface, tmp_path)
    other = full_surface(tmp_path / "other")
    done = import_table(path, other)
    assert (done.added, done.present) == (4, 0)
    ours, theirs = (list_sessions(one.folder) for one in (surface, other))
    assert [bare(s) for s in theirs] == [bare(s) for s in ours]
    for one, back in zip(ours, theirs, strict=True):
        for true, found in zip(one.measured, back.measured, strict=True):
            # a table does not tell the lamp's u, which has a say in the weights of placements
            assert found.power_fringes == pytest.approx(true.power_fringes, rel=1e-5)
            assert found.sense == true.sense
            assert found.wavelength_nm == true.wavelength_nm
            assert found.irregularity_fringes == true.irregularity_fringes
            assert (found.radius_difference_mm is None) == (true.radius_difference_mm is None)
            if true.radius_difference_mm is not None:
                assert found.radius_difference_mm == pytest.approx(
                    true.radius_difference_mm, rel=1e-5
                )
            assert found.source.split(",")[0] == true.source.split(",")[0]
    readings = open_session(theirs[0].place).visit.readings
    true = open_session(ours[0].place).visit.readings
    for found, logged in zip(readings, true, strict=True):
        assert found.reading.edge == logged.reading.edge
        assert found.reading.quality == logged.reading.quality
        assert (found.reading.rings, found.reading.frames) == (7, 6)
        assert found.reading.steps_fringes == logged.reading.steps_fringes
        assert found.place_mm == logged.place_mm


def test_a_split_spell_there_and_back(tmp_path):
    """A split spell and the rest since the lap come back through a table."""
    work = Work("9um", parts=(("work", 30.0), ("tool", 40.5)), rested_minutes=12.0)
    made, other = full_surface(tmp_path / "shop"), full_surface(tmp_path / "other")
    log_visit(made, Visit(work=work), now=hours(4))
    path = table_of(made, tmp_path)
    assert rows_of(path)[0]["work_parts"] == "work 30.0, tool 40.5"
    import_table(path, other)
    assert [one.work for one in list_sessions(other.folder)] == [work]
    path.write_text(path.read_text().replace("work 30.0", "work thirty"))
    with pytest.raises(BadInput, match="line 2: work: its parts are"):
        import_table(path, full_surface(tmp_path / "third"))


def test_twice_is_once(surface, tmp_path):
    """A table that is imported again, into the new surface or its own, adds nothing."""
    path = table_of(surface, tmp_path)
    other = full_surface(tmp_path / "other")
    import_table(path, other)
    assert dataclasses.astuple(import_table(path, other))[2:4] == (0, 4)
    assert dataclasses.astuple(import_table(path, surface))[2:4] == (0, 4)
    assert len(session_files(other.folder)) == len(session_files(surface.folder)) == 4


def test_an_imported_visit_says_where_it_is_from(surface, tmp_path):
    """Each session from a table keeps the name of the table and of the session that it was."""
    other = full_surface(tmp_path / "other")
    import_table(table_of(surface, tmp_path), other)
    first = open_session(session_files(other.folder)[0]).visit.inputs["imported_from"]
    assert first["file"] == "visits.csv"
    assert first["session_id"] == session_files(surface.folder)[0].stem


def test_a_spreadsheet_meets_no_formula(surface, tmp_path):
    """A text that a spreadsheet would reckon with starts with an apostrophe, and comes back."""
    path = table_of(surface, tmp_path)
    (row,) = [r for r in rows_of(path) if r["sequence"] == "2"]
    assert row["remarks"].startswith("'=1+1")
    other = full_surface(tmp_path / "other")
    import_table(path, other)
    second = open_session(session_files(other.folder)[1])
    assert second.visit.remarks == "=1+1; a, \"b\"\nand 'c'"


TEXT = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0")).filter(
    lambda text: text.strip()
)


@given(TEXT)
def test_any_text_comes_back(remark):
    """Whatever a remark says, the table gives it back, and no cell of it starts a formula."""
    text = table_text([{"when": hours(0).isoformat(), "remarks": remark}])
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert not row["remarks"].startswith(("=", "+", "-", "@", "\t", "\r"))
    ((_, visit),) = visits_from_table(text, "table")
    assert visit.remarks == remark


def test_an_older_notebook(tmp_path):
    """A table of a few columns, in any order, with a spreadsheet's mark, becomes visits."""
    path = tmp_path / "notebook.csv"
    text = (
        "power_fringes,when,sense,wavelength_nm,work_stage,work_minutes,remarks\r\n"
        "-7.5,2019-05-02T10:00+02:00,edge,589.3,polish,30,first try\r\n"
        ",2019-05-02T14:00+02:00,,,polish,45,\r\n"
        "−3,2019-05-03T09:00+02:00,edge,589.3,polish,20,\r\n"
    )
    path.write_bytes(text.encode("utf-8-sig"))
    made = full_surface(tmp_path / "shop")
    assert import_table(path, made).added == 3
    visits = list_sessions(made.folder)
    assert [v.work.minutes for v in visits] == [30.0, 45.0, 20.0]
    assert [[m.power_fringes for m in v.measured] for v in visits] == [[-7.5], [], [-3.0]]
    assert [v.measured[0].source for v in (visits[0], visits[2])] == ["eye", "eye"]
    assert visits[0].when.isoformat() == "2019-05-02T10:00:00+02:00"
    assert import_table(path, made).added == 0


HEAD = "session_id,when,power_fringes,wavelength_nm,method,sense,work_minutes,replaces\n"
WHEN = "2026-03-14T09:30+01:00"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "must name the columns"),
        ("power_fringes\n1\n", "must name the columns"),
        ("when,when\n", "must name the columns"),
        ("when\n", "no visit"),
        ("when\nyesterday\n", r"line 2, when: 'yesterday' is not a time"),
        ("when\n9999999\n", "is not a time"),
        (HEAD + "\n", "no visit"),
        (HEAD + "a\n", "line 2: 1 cells for 8 columns"),
        (
            HEAD + f"a,{WHEN},much,589,eye,edge,1,\n",
            "line 2, power_fringes: 'much' is not a number",
        ),
        (HEAD + f"a,{WHEN},nan,589,eye,edge,1,\n", "is not a number"),
        (f"when,power_fringes,wavelength_nm,steps_fringes\n{WHEN},1,589,0; x\n", "is not a number"),
        (HEAD + f"a,{WHEN},1e999,589,eye,edge,1,\n", "is not a number"),
        (HEAD + f"a,{WHEN},1,,eye,edge,1,\n", "wavelength_nm: '' is needed"),
        (HEAD + f"a,{WHEN},1,589,guess,edge,1,\n", "method: 'guess' is not one of photograph, eye"),
        (HEAD + f"a,{WHEN},1,589,eye,left,1,\n", "sense: 'left' is not one of"),
        (HEAD + f"a,{WHEN},1,589,eye,edge,-1,\n", "line 2: work: -1 minutes"),
        (HEAD + f"a,{WHEN},1,589,eye,edge,1,b\n", "a replaces b, which is not in it"),
        (HEAD + f'a,{WHEN},"1,589,eye,edge,1,\n', "line"),
        (HEAD + "x" * 200_000 + ",,,,,,,\n", "line 2"),
        (HEAD + "\0,,,,,,,\n", "line"),
    ],
)
def test_tables_that_make_no_sense(tmp_path, text, words):
    """A table that makes no sense is refused with its line and column, and nothing is logged."""
    path = tmp_path / "old.csv"
    path.write_text(text, encoding="utf-8")
    made = full_surface(tmp_path / "shop")
    with pytest.raises(BadInput, match=words) as caught:
        import_table(path, made)
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)
    assert session_files(made.folder) == []


def test_files_that_are_no_table(tmp_path):
    """A missing file, a folder, and one that is not text are refused in one line."""
    made = full_surface(tmp_path / "shop")
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "bytes.csv").write_bytes(b"when\n\xff\xfe\n")
    for name in ("gone.csv", "folder.csv", "bytes.csv"):
        with pytest.raises(BadInput, match=name) as caught:
            import_table(tmp_path / name, made)
        assert "\n" not in str(caught.value)


def test_what_is_not_known_is_an_empty_cell():
    """None and what is not a number leave the cell empty."""
    text = table_text([{"when": "x", "power_fringes": math.nan, "by": None}])
    (row,) = csv.DictReader(io.StringIO(text))
    assert {name for name, cell in row.items() if cell} == {"when"}

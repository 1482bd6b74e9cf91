"""Corrections by `fringe log`: what is said is done, what is not said is kept."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from calling import call
from fringe.archive.store.order import survey
from fringe.archive.store.read import open_session
from fringe.archive.transfer.check import check_archive
from fringe.errors import Refused
from sample_visits import full_surface, power_reading


@pytest.fixture
def photos(tmp_path, monkeypatch, surface, rng):
    """Photographs whose name says their magnitude of power; the sense is what the options say."""
    seen = []

    def stand_in(photographs, options):
        seen.append((photographs[0].file_name, options))
        name = Path(photographs[0].file_name)
        if name.stem.startswith("blank") and options.lamp.name == "sodium":
            raise Refused(f"{name.name}: no fringes to be seen; focus on the work")
        power = float(name.stem.removeprefix("blank"))
        sense = "unknown" if options.sense == "auto" else options.sense
        return power_reading(-power if sense == "edge" else power, 0.1, sense).reading

    monkeypatch.setattr("fringe.archive.views.photographs.read_kept", stand_in)

    def make(*names):
        for name in names:
            (tmp_path / name).write_bytes(rng.bytes(500))
        return names

    make.seen = seen
    return make


def current(surface, number=1):
    """The visit of a number as it holds now."""
    (visit,) = (one for one in survey(surface.folder).visits if one.number == number)
    return open_session(visit.current.place).visit


def test_the_sense_added_later(run, photos, surface):
    """A sense that is said later reads the kept photograph anew; every other option stays."""
    name = photos("3.5.jpg")[0]
    said = ("--aperture", "60mm", "--lamp", "hene", "--edge", "9,9,8", "--camera-distance", "0.9m")
    run(name, *said, "--place", "10mm,0mm", "--stage", "polish", "--minutes", "30")
    Path(name).unlink()
    code, out, err = run("--replaces", "1", "--sense", "edge", "--json")
    assert (code, err) == (0, "")
    row = json.loads(out)
    assert (row["visit"], row["sense"], row["corrects"]["sense"]) == (1, "edge", "unknown")
    visit = current(surface)
    (reading,) = visit.readings
    assert (reading.reading.power_fringes, reading.aperture_mm) == (-3.5, 60.0)
    assert (reading.place_mm, visit.work.minutes) == ((10.0, 0.0), 30.0)
    options = reading.options
    assert (options["sense"], options["lamp"], options["edge"]) == ("edge", "hene", "9,9,8")
    assert (options["diameter_mm"], options["camera_distance_mm"]) == (60.0, 900.0)
    assert visit.inputs["aperture"] == 60.0
    run("--replaces", "1", "--sense", "auto", "--edge", "auto")
    (reading,) = current(surface).readings
    assert (reading.reading.sense, reading.options["edge"]) == ("unknown", "auto")


def test_a_new_photograph_keeps_the_options(run, photos, surface):
    """Another photograph of the same contact is read with the old options for what is not said."""
    run(*photos("3.5.jpg"), "--aperture", "60mm", "--sense", "centre")
    code, _, err = run(*photos("4.5.jpg"), "--replaces", "1", "--lamp", "hene")
    assert (code, err) == (0, "")
    visit = current(surface)
    (reading,) = visit.readings
    assert (reading.reading.power_fringes, reading.aperture_mm) == (4.5, 60.0)
    assert (reading.options["sense"], reading.options["lamp"]) == ("centre", "hene")
    assert [one.file_name for one in visit.photographs] == ["4.5.jpg"]


def test_minutes_alone_keep_the_reading(run, photos, surface):
    """Minutes, stage and remark change no reading, and nothing is read again."""
    run(*photos("3.5.jpg"), "--stage", "#240", "--minutes", "30")
    before = current(surface).readings[0].reading
    photos.seen.clear()
    run("--replaces", "1", "--minutes", "45", "--stage", "#400", "--remark", "new lap")
    visit = current(surface)
    assert photos.seen == []
    assert visit.readings[0].reading.reading_id == before.reading_id
    assert (visit.work.minutes, visit.work.stage, visit.remarks) == (45.0, "#400", "new lap")


def test_a_refused_photograph_read_later(run, photos, surface):
    """A photograph that was kept without a reading gets one by the right lamp."""
    run(*photos("blank2.0.jpg"), "--keep-refused")
    assert current(surface).readings == ()
    code, _, err = run("--replaces", "1", "--lamp", "hene")
    assert (code, err) == (0, "")
    visit = current(surface)
    assert [one.reading.power_fringes for one in visit.readings] == [2.0]
    assert visit.photographs[0].refusal is None


def test_what_is_seen_by_eye_corrected(run, photos, surface):
    """A text by eye takes the place of the one before; a sense alone is put on that one."""
    run("--by-eye", "rings 3.5")
    run("--replaces", "1", "--sense", "edge")
    assert [one.reading.power_fringes for one in current(surface).readings] == [-3.5]
    run("--replaces", "1", "--sense", "centre")
    run("--replaces", "1", "--sense", "edge")
    assert [one.reading.power_fringes for one in current(surface).readings] == [-3.5]
    run("--replaces", "1", "--by-eye", "rings 2.5 centre", "--sense", "auto")
    assert [one.reading.power_fringes for one in current(surface).readings] == [2.5]
    run("--replaces", "1", "--sense", "edge")
    (reading,) = current(surface).readings
    assert (reading.reading.power_fringes, reading.options["by_eye"]) == (-2.5, "rings 2.5 edge")


def test_nothing_to_read_anew(run, surface):
    """A sense for a visit without photographs is refused in one line."""
    run("--stage", "polish", "--minutes", "20")
    code, _, err = run("--replaces", "1", "--sense", "centre")
    assert code == 2
    assert err == "fringe: visit 1 has no photograph that could be read anew; give one\n"


def test_struck_out_and_back(run, photos, surface, capsys):
    """A visit that is struck out leaves every sum, keeps file and number, and can come back."""
    run(*photos("3.5.jpg"), "--stage", "#240", "--minutes", "30", "--sense", "centre")
    run(*photos("2.5.jpg"), "--stage", "#240", "--minutes", "60", "--sense", "centre")
    before = {path: path.read_bytes() for path in surface.folder.iterdir()}
    code, _, err = run("--strike", "2")
    assert (code, err.count("\n")) == (2, 1)
    assert "--remark" in err
    code, out, err = run("--strike", "2", "--remark", "another piece lay there")
    assert (code, err) == (0, "")
    assert out.startswith("concave 1, visit 2 struck out, ")
    assert "#240 60 min" in out
    values = call(capsys, "progress", "shop/concave 1", "--json").json
    told = [(v["visit"], v["struck"], v["minutes"], v["hours_total"]) for v in values["visits"]]
    assert told == [(1, False, 30.0, 0.5), (2, True, None, 0.5)]
    text = call(capsys, "progress", "shop/concave 1").out
    assert "struck out: another piece lay there" in text
    assert {path: path.read_bytes() for path in before} == before
    code, _, err = run("--strike", "2", "--remark", "again")
    assert (code, "already" in err) == (2, True)
    code, out, _ = run(*photos("1.5.jpg"), "--sense", "centre", "--json")
    assert json.loads(out)["visit"] == 3
    code, out, _ = run("--replaces", "2", "--minutes", "50", "--json")
    row = json.loads(out)
    assert (row["visit"], row["power_fringes"], row["struck"]) == (2, 2.5, False)
    assert (row["minutes"], row["hours_total"]) == (50.0, pytest.approx(80 / 60))
    assert check_archive(surface.folder.parent).problems == ()


def test_moved_to_another_surface(run, photos, surface, capsys):
    """A visit that belongs to another surface is read by that one's record, and struck out here."""
    other = full_surface(surface.folder.parent, "concave 2")
    run("--remark", "first")
    run(*photos("3.5.jpg"), "--sense", "centre", "--stage", "polish", "--minutes", "10")
    code, out, err = run("--move", "2", "--to", "concave 2")
    assert (code, err) == (0, "")
    assert "moved, visit 1 there" in " ".join(out.split())
    (moved,) = survey(other.folder).sessions
    assert (moved.number, moved.work.minutes, moved.measured[0].power_fringes) == (1, 10.0, 3.5)
    assert [one.number for one in survey(surface.folder).sessions] == [1]
    assert check_archive(surface.folder.parent).problems == ()
    assert open_session(moved.place).visit.inputs["moved_from"]["visit"] == 2


def test_a_move_that_was_cut_off_is_finished(run, photos, surface, monkeypatch):
    """Killed between its two files, the same words strike the visit and log no second one."""
    other = full_surface(surface.folder.parent, "concave 2")
    run(*photos("3.5.jpg"), "--sense", "centre")

    def killed(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("fringe.archive.views.changed_visits.strike_visit", killed)
        assert run("--move", "1", "--to", "concave 2")[0] == 130
    assert len(survey(other.folder).sessions) == 1
    code, _, err = run("--move", "1", "--to", "concave 2")
    assert (code, err) == (0, "")
    assert len(survey(other.folder).sessions) == 1
    assert survey(surface.folder).sessions == ()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--strike", "1", "--minutes", "3"), "goes with --remark and --by alone"),
        (("--strike", "1", "--replaces", "1", "--remark", "x"), "goes with --remark"),
        (("--strike", "9", "--remark", "x"), "no visit '9'; it has visit 1"),
        (("--move", "1"), "--to NAME"),
        (("--move", "1", "--to", "gone"), "no such surface"),
        (("--move", "1", "--to", "concave 1"), "already"),
        (("--to", "concave 1"), "--move 3"),
    ],
)
def test_refusals(run, surface, words, message):
    """What does not go together is one line, and changes nothing."""
    run("--remark", "first")
    before = sorted(surface.folder.iterdir())
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert message in err
    assert sorted(surface.folder.iterdir()) == before


def test_what_was_told_then_is_kept(run, photos, surface, capsys):
    """`progress` shows what a visit advised when it was logged, whatever today's code would say."""
    _, out, _ = run(*photos("8.5.jpg"), "--sense", "edge", "--stage", "#400", "--json")
    told = json.loads(out)["next_step"]
    _, out, _ = run(*photos("0.1.jpg"), "--sense", "centre", "--minutes", "10", "--json")
    call(capsys, "surface", "change", "shop/concave 1", "--tolerance-power", "20")
    first, second = call(capsys, "progress", "shop/concave 1", "--json").json["visits"]
    assert {key: first["told_step"][key] for key in told} == told
    assert first["next_step"] == first["told_step"]["text"]
    assert second["told_step"]["reason"] == json.loads(out)["next_step"]["reason"]


@pytest.mark.parametrize("place", ["logged_visits", "survey"])
def test_kept_though_the_advice_fails(run, photos, surface, monkeypatch, place):
    """Whatever fails in the judging is a warning that says the number; the visit is kept."""

    def fail(*_, **__):
        raise RuntimeError("no such thing")

    monkeypatch.setattr(f"fringe.archive.views.logged_visit.{place}", fail)
    code, out, err = run(*photos("3.5.jpg"), "--json")
    values = json.loads(out)
    assert (code, values["visit"], values["kept"], values["next_step"]) == (0, 1, True, None)
    code, out, err = run("--remark", "second")
    assert code == 0
    assert out.startswith("concave 1, visit 2")
    assert err.startswith("fringe: visit 2 is kept, do not log it again; ")
    assert len(survey(surface.folder).sessions) == 2


def test_kept_though_the_output_is_full(run, surface, monkeypatch):
    """A full disk behind standard output is a warning with the number; the status is 0."""

    def full(*_, err=False, **__):
        if not err:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr("fringe.cli.printing.click.echo", full)
    for words in (("--remark", "a"), ("--remark", "b", "--json")):
        assert run(*words)[0] == 0
    assert len(survey(surface.folder).sessions) == 2

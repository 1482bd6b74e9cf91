"""The bench on disk: whatever ends the program, what was on the bench is there again."""

from __future__ import annotations

import json
import shutil

import pytest
from bench_page import said

from fringe.archive.store.order import list_sessions
from fringe.archive.transfer.check import check_archive
from fringe.bench.desk import Desk
from fringe.bench.settings import Settings
from fringe.bench.taken import Taken
from fringe.errors import BadInput
from fringe.photo.ellipse import Edge
from sample_visits import power_reading

EDGE = Edge(30.0, 31.0, 25.0, 25.0, 0.0, 0.5)


def read(desk, reader, data, power=1.5):
    identity = desk.add(data, "rings.png")
    reader.finish(power_reading(power, 0.1, "centre").reading)
    return identity


@pytest.fixture
def killed(desk, tmp_path, reader):
    """The bench of another program over a copy of the disk, as a kill at this moment leaves it."""
    found = []

    def after():
        copy = tmp_path / f"copy {len(found)}"
        shutil.copytree(desk.archive, copy)
        found.append(Desk(copy, reader))
        return found[-1]

    return after


def test_all_of_it_is_there_again(desk, reader, picture, killed):
    """Visit, surface, sense and photographs with their edges outlive a kill, and are read again."""
    desk.set(Settings("concave 1", "mercury-green", "centre", 900.0))
    data = [picture(), picture(kind="JPEG")]
    first = read(desk, reader, data[0])
    desk.add(data[1], "other.jpg")
    desk.set_edge(first, EDGE)
    desk.set_taken(lambda taken: Taken("rings 3.5 centre", plate=("808um",)))
    before, orders = desk.view(), len(reader.orders)
    again = killed()
    after = again.view()
    for same in ("visit", "settings", "taken"):
        assert after[same] == before[same]
    for shown in ("id", "name", "taken", "width", "height"):
        assert [one[shown] for one in after["shots"]] == [one[shown] for one in before["shots"]]
    assert [again.shot(one["id"]).data for one in after["shots"]] == data
    assert again.shot(first).preview == desk.shot(first).preview
    jobs = [job for job, *_ in reader.orders[orders:]]
    assert [(job.data, job.options.edge) for job in jobs] == [(data[0], EDGE), (data[1], "auto")]
    assert jobs[0].options.sense == "centre"
    assert after["changed"] != before["changed"]  # no device takes one for the other


def test_nothing_is_kept_that_is_not_on_the_bench(desk, reader, picture, monkeypatch):
    """Photographs that were removed or logged are off the disk, and `check` finds nothing odd."""
    folder = desk.archive / ".bench"
    read(desk, reader, picture())
    gone = read(desk, reader, picture())
    assert len(list(folder.glob("*.photograph"))) == 2
    desk.remove(gone)
    assert len(list(folder.glob("*.photograph"))) == len(list(folder.glob("*.preview"))) == 1
    desk.log(desk.view()["visit"], said("polish", 30.0))
    assert len(list(folder.glob("*.photograph"))) == 1  # the visit can be taken back
    monkeypatch.setattr("fringe.bench.undo.UNDO_S", 0.0)
    assert desk.view()["changed"] < desk.changed
    assert [path.name for path in folder.iterdir()] == ["bench.json"]
    findings = check_archive(desk.archive)
    assert (findings.problems, findings.unknown, findings.leftovers) == ((), (), ())


def test_a_visit_is_logged_once_whenever_it_ends(desk, reader, picture, killed, monkeypatch):
    """A kill between writing the visit and clearing the bench logs nothing twice."""
    read(desk, reader, picture())
    visit = desk.view()["visit"]
    monkeypatch.setattr(desk, "_next_visit", lambda: None)  # killed before it could
    desk.log(visit, said("polish", 30.0))
    again = killed()
    assert again.view()["shots"] == []
    assert again.view()["visit"] != visit
    assert len(list_sessions(again.chosen().folder)) == 1


def test_a_log_sent_again_after_a_restart(desk, reader, picture, killed):
    """A device that heard nothing of its log may send it once more to the new program."""
    read(desk, reader, picture())
    visit = desk.view()["visit"]
    told = desk.log(visit, said("polish", 30.0, remark="new lap"))
    again = killed()
    assert again.log(visit, said("polish", 30.0, remark="new lap")) == told
    with pytest.raises(BadInput, match="visit 1 of concave 1 is in the record already"):
        again.log(visit, said("polish", 45.0))
    assert len(list_sessions(again.chosen().folder)) == 1


def test_a_visit_is_taken_back_after_a_restart(desk, reader, picture, killed):
    """A visit that was just logged can be taken back by the next program, photographs and all."""
    desk.set(Settings("concave 1", None, "centre"))
    data = picture()
    read(desk, reader, data)
    desk.log(visit := desk.view()["visit"], said("polish", 30.0))
    again, orders = killed(), len(reader.orders)
    undo = again.view()["undo"]
    assert (undo["id"], undo["visit"], undo["surface"]) == (visit, 1, "concave 1")
    assert 0 < undo["seconds"] <= 60.0
    again.undo(visit)
    assert [again.shot(one["id"]).data for one in again.view()["shots"]] == [data]
    assert [job.data for job, *_ in reader.orders[orders:]] == [data]  # it is read once more
    assert again.view()["settings"]["sense"] == "centre"
    assert [row["struck"] for row in again.view()["history"]] == [True]
    reader.finish(power_reading(1.5, 0.1, "centre").reading)
    # a program after that knows the photograph, too, and does not ask about it
    again.close()
    third = Desk(again.archive, reader)
    reader.finish(power_reading(1.5, 0.1, "centre").reading)
    assert third.log(third.view()["visit"], said("polish", 30.0))["visit"] == 2


@pytest.mark.parametrize("text", ["", "{", "[]", '{"schema": 2}', '{"schema": 1, "shots": 3}'])
def test_a_damaged_bench_is_told(desk, reader, picture, tmp_path, text):
    """What cannot be read is named; the bench is empty then, and works."""
    read(desk, reader, picture())
    desk.close()
    (desk.archive / ".bench" / "bench.json").write_text(text)
    again = Desk(desk.archive, reader)
    assert again.view()["shots"] == []
    assert "what was on the bench cannot be read" in again.view()["not_kept"]
    read(again, reader, picture())
    assert json.loads((desk.archive / ".bench" / "bench.json").read_text())["shots"]


def test_a_photograph_that_is_gone_from_the_disk(desk, reader, picture, killed):
    """Of a photograph whose bytes are not those that were kept, the bench says that it is lost."""
    read(desk, reader, picture())
    read(desk, reader, picture())
    path = next((desk.archive / ".bench").glob("*.photograph"))
    path.write_bytes(path.read_bytes()[:-1])
    view = killed().view()
    assert len(view["shots"]) == 1
    assert "rings.png: this photograph of the bench was lost" in view["not_kept"]


def test_a_disk_that_takes_nothing(desk, reader, picture, monkeypatch):
    """Where the bench cannot be kept it works all the same, and says so."""

    def full(path, *_):
        raise BadInput(f"{path}: cannot be written: the disk is full")

    monkeypatch.setattr("fringe.bench.kept.write_whole", full)
    read(desk, reader, picture())
    assert desk.view()["answer"]["value"] == "+1.50"
    assert "the disk is full" in desk.view()["not_kept"]
    monkeypatch.undo()
    desk.set(Settings("concave 1", None, "centre"))
    assert desk.view()["not_kept"] == ""


def test_one_bench_page_an_archive(desk, reader):
    """A second page over the same archive is refused while the first one is open."""
    with pytest.raises(BadInput, match="a bench page is open on this archive already"):
        Desk(desk.archive, reader)
    desk.close()
    Desk(desk.archive, reader).close()


def test_a_photograph_of_another_visit_waits(desk, reader, picture):
    """A photograph that was taken for a visit which is gone is not put to the next one."""
    visit = desk.view()["visit"]
    read(desk, reader, picture())
    desk.log(visit, said())
    with pytest.raises(BadInput, match="not on the bench any more"):
        desk.add(picture(), "late.png", visit)
    assert desk.view()["shots"] == []

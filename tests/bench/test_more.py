"""Pair, plan, a new surface, and when to be back, as the page shows them."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from bench_page import said

from fringe.archive.store.surface import Surface, add_surface, load_surface
from fringe.archive.surface_record import StatedRecord
from fringe.archive.views.judged_pair import judged_pair
from fringe.archive.views.surface_state import surface_state
from fringe.bench import more
from fringe.bench.desk import Desk
from fringe.bench.settings import Settings
from fringe.bench.shots import time_today
from fringe.bench.taken import Taken
from fringe.bench.typed import surface_record
from fringe.errors import BadInput
from fringe.show.text.pair import pair_rows
from sample_visits import power_reading


def seen(desk, text, request=None):
    """Log what an eye saw."""
    desk.set_taken(lambda taken: Taken(text))
    return desk.log(desk.view()["visit"], request or said())


def test_a_pair_is_that_of_the_command(desk, surface):
    """Both pieces read on their plates are judged as `fringe pair` does, in its words."""
    partner = add_surface(desk.archive, Surface("convex 1", "convex", 3048.0, 150.0, lamp="sodium"))
    with pytest.raises(BadInput, match="no such surface"):
        more.pair_answer(desk, "convex 2")
    seen(desk, "rings 1.5 centre")
    desk.set(Settings("convex 1"))
    seen(desk, "rings 1 edge")
    answer = more.pair_answer(desk, "concave 1")
    expected = judged_pair(load_surface(surface.folder), load_surface(partner.folder))
    assert answer["rows"][0] == pair_rows(expected)[0]
    assert answer["verdict"] == expected.pair.verdict
    assert not any("--" in row for row in answer["rows"])


def photographed(desk, reader, data, power, request):
    """Log a photograph."""
    desk.set(Settings("concave 1", None, "centre"))
    desk.add(data, "rings.png")
    reader.finish(power_reading(power, 0.1, "centre").reading)
    return desk.log(desk.view()["visit"], request)


def test_a_plan(desk, reader, picture):
    """What is still to go of the surface on the bench; of one that is inside, nothing."""
    assert photographed(desk, reader, picture(), 0.5, said())["next"] == "stop"
    answer = more.plan_answer(desk)
    assert answer["rows"] == [["concave 1", "0", "0 h", "already"]]
    assert answer["steps"] == ["stop"]


def test_the_first_surface(tmp_path, reader):
    """A folder that is not there yet begins an archive, and the page makes its first surface."""
    desk = Desk(tmp_path / "new shop", reader)
    view = desk.view()
    assert (view["surfaces"], view["settings"]["surface"], view["answer"]) == ([], None, None)
    more.add_surface(desk, "concave 1", "concave", StatedRecord(3048.0, diameter_mm=150.0))
    assert desk.view()["settings"]["surface"] == "concave 1"
    other = tmp_path / "letters"
    other.mkdir()
    (other / "letter.txt").write_text("dear")
    with pytest.raises(BadInput, match="files of another kind"):
        Desk(other, reader)
    assert [path.name for path in other.iterdir()] == ["letter.txt"]


def test_a_tolerance_is_set(desk):
    """What is allowed is kept with the surface, and what lies on the bench is judged by it."""
    desk.set_taken(lambda taken: Taken("rings 1.5 centre"))
    before = desk.changed
    more.change_tolerance(desk, "concave 1", StatedRecord(tolerance_power_fringes=0.5))
    assert desk.changed > before
    answer = desk.view()["answer"]
    assert (answer["verdict"], answer["bar"]["limit"]) == ("outside", 0.5)
    with pytest.raises(BadInput, match="say what is allowed"):
        more.change_tolerance(desk, "concave 1", StatedRecord())


def test_a_new_surface(desk):
    """A surface is made by its record, and the bench turned to it; nonsense makes none."""
    desk.set(Settings("concave 1", "mercury-green", "edge"))
    record = StatedRecord(1000.0, diameter_mm=80.0, tolerance_power_fringes=2.0)
    more.add_surface(desk, "window 1", "convex", record)
    view = desk.view()
    assert view["settings"]["surface"] == "window 1"
    assert (view["settings"]["lamp"], view["settings"]["sense"]) == (None, "auto")
    with pytest.raises(BadInput, match="window 1"):
        more.add_surface(desk, "window 1", "convex", record)
    with pytest.raises(BadInput, match="needs"):
        more.add_surface(desk, "window 2", "convex", StatedRecord())


def test_a_new_surface_with_a_chamfer(desk):
    """Its diameter is over all, and the page shows it beside that of the face."""
    typed = {"radius": "1m", "diameter": "80mm", "chamfer": "0,5mm", "tolerance_power": "2"}
    more.add_surface(desk, "window 1", "convex", surface_record(typed))
    (line,) = [one for one in desk.view()["surfaces"] if one["name"] == "window 1"]
    assert (line["diameter_mm"], line["outside_diameter_mm"], line["chamfer_mm"]) == (79, 80, 0.5)
    assert "aperture 79 mm (over all 80 mm, chamfer 0.5 mm)" in line["facts"]
    assert surface_record({**typed, "chamfer": "0mm"}).chamfer_mm == 0.0
    with pytest.raises(BadInput, match="chamfer"):
        surface_record({**typed, "chamfer": "0.5"})


def test_when_to_be_back(desk, reader, picture, surface):
    """Where the last visit said to let the glass rest, the page knows until when."""
    assert desk.view()["back_at"] is None
    photographed(desk, reader, picture(), 1.5, said("polish", 45.0))
    step = surface_state(surface).rows[-1].told_step
    assert step["action"] == "wait"
    assert desk.view()["back_at"] == step["back_at"]
    assert datetime.fromisoformat(desk.view()["back_at"]) > datetime.now().astimezone()


def test_a_time_that_is_said_goes_before_the_clocks(desk, reader, picture):
    """Photographs without a time of their own settle by the times that a person says."""
    now = datetime.now().astimezone()
    for number in range(3):
        identity = desk.add(picture(), f"{number}.png")
        reader.finish(power_reading(1.5 - 0.1 * number).reading)
        desk.set_time(identity, now - timedelta(minutes=40 - 20 * number))
    points = desk.view()["course"]["points"]
    assert [point["minutes"] for point in points] == pytest.approx([0.0, 20.0, 40.0])
    assert [point["power"] for point in points] == pytest.approx([1.5, 1.4, 1.3])


@pytest.mark.parametrize(
    ("text", "day", "hour"), [("09:30", 14, 9), ("10:04", 14, 10), ("23:50", 13, 23)]
)
def test_a_time_of_day(text, day, hour):
    """A time of day is today's, or yesterday's where today's is still to come."""
    when = time_today(text, datetime(2026, 3, 14, 10, 0).astimezone())
    assert (when.day, when.hour) == (day, hour)
    with pytest.raises(BadInput, match="is not a time; write 09:30"):
        time_today("soon", when)

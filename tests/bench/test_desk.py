"""What lies on the bench, with a reader that is worked by hand."""

from __future__ import annotations

import io
import math
import re
import threading

import numpy as np
import pytest
from bench_page import said
from PIL import Image

from fringe.archive.instruments import add_instrument
from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session
from fringe.archive.views.surface_state import surface_state
from fringe.bench.desk import MOST_SHOTS, Desk
from fringe.bench.settings import Settings
from fringe.bench.shots import clean_file_name
from fringe.errors import BadInput, Refused
from fringe.judge.advice.step import round_minutes
from fringe.judge.state.visits import Work
from fringe.photo.ellipse import Edge
from sample_visits import full_surface, power_reading


def put(desk, reader, data, power=None, name="rings.png", sense="centre"):
    """Put a photograph on the bench, and read it where a power is given."""
    identity = desk.add(data, name)
    if power is not None:
        reader.start()
        reader.finish(power_reading(power, 0.1, sense).reading)
    return identity


def states(desk):
    return [shot["state"] for shot in desk.view()["shots"]]


def test_a_photograph_is_read_with_the_record(desk, reader, picture, surface):
    """A photograph is read at once, with lamp, plate, diameter and form of the surface's record."""
    data = picture()
    put(desk, reader, data)
    job = reader.start()
    options = job.options
    assert (job.data, job.name) == (data, "rings.png")
    assert (options.lamp.name, options.work, options.edge) == ("sodium", "concave", "auto")
    assert (options.plate_radius_mm, options.diameter_mm) == (3048.6, 150.0)
    assert states(desk) == ["reading"]
    reader.finish(power_reading(1.5).reading)
    assert states(desk) == ["read"]


def test_the_answer_is_that_of_the_library(desk, reader, picture):
    """Value, uncertainty, verdict and next step are those of a visit with this reading."""
    put(desk, reader, picture(), 1.5)
    answer = desk.view()["answer"]
    assert (answer["value"], answer["u95"]) == ("+1.50", "± 0.10")
    assert answer["unit"] == "fringes at λ = 589.29 nm"
    assert (answer["verdict"], answer["next"]) == ("inside", "stop")
    assert "power +1.50 ± 0.10 fringes is proven inside ±2 fringes" in answer["reason"].lower()


def test_several_photographs_are_one_visit(desk, reader, picture):
    """Readings of one visit are answered by their mean (analytic: 1.45)."""
    put(desk, reader, picture(), 1.5)
    put(desk, reader, picture(), 1.4)
    view = desk.view()
    assert view["answer"]["count"] == 2
    assert view["answer"]["value"].startswith("+1.4")
    assert [point["power"] for point in view["course"]["points"]] == [1.5, 1.4]
    assert view["course"]["settling"] is None


def with_time(rng, minute):
    """A photograph whose camera noted when it was taken."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = f"2026:03:14 {10 + minute // 60}:{minute % 60:02d}:00"
    buffer = io.BytesIO()
    noise = rng.integers(0, 255, (64, 64, 3), np.uint8)
    Image.fromarray(noise).save(buffer, "JPEG", exif=exif)
    return buffer.getvalue()


def test_settling_is_told_from_the_cameras_times(desk, reader, rng):
    """Photographs tell where power ends: 1 + 2 exp(-t / 12 min), so 1 (analytic).

    An hour and a half, as after one hour alone a slower part of 0.2 fringes is not excluded.
    """
    minutes = list(range(0, 90, 6))
    for minute in minutes:
        put(desk, reader, with_time(rng, minute), 1 + 2 * math.exp(-minute / 12))
    course = desk.view()["course"]
    assert [point["minutes"] for point in course["points"]] == minutes
    settling = course["settling"]
    assert settling["state"] == "settled"
    assert re.search(r"Settled: power \+1\.0\d* ± ", settling["text"])


def test_glass_that_still_moves_is_told(desk, reader, rng):
    """Photographs from the start of a drift say to wait."""
    for minute in (0, 5, 10, 15):
        put(desk, reader, with_time(rng, minute), 1 + 4 * math.exp(-minute / 20))
    assert desk.view()["course"]["settling"]["text"].startswith(("Wait", "Settling"))


def test_the_same_photograph_is_there_once(desk, reader, picture):
    """Sending the same bytes twice, even at once, puts one photograph on the bench."""
    data = picture()
    found = []
    threads = [
        threading.Thread(target=lambda: found.append(desk.add(data, "a.png"))) for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(found)) == 1
    assert len(desk.view()["shots"]) == 1
    assert len(reader.orders) == 1


def test_a_refusal_is_shown(desk, reader, picture):
    """A photograph without fringes stays on the bench, with the reason."""
    put(desk, reader, picture())
    reader.start()
    reader.finish(Refused("rings.png: no fringes found inside the edge"))
    (shot,) = desk.view()["shots"]
    assert (shot["state"], shot["answer"]) == ("refused", None)
    assert "no fringes" in shot["refusal"]
    assert desk.view()["answer"] is None


def test_a_dragged_edge_is_read_with(desk, reader, picture):
    """A new edge gives up the reading under way; what it still says does not count."""
    identity = put(desk, reader, picture())
    reader.start()
    edge = Edge(30.0, 31.0, 25.0, 25.0, 0.0, 0.5)
    desk.set_edge(identity, edge)
    assert reader.given_up == [0]
    reader.finish(power_reading(9.0).reading, 0)
    assert states(desk) == ["waiting"]
    assert reader.start(1).options.edge == edge
    reader.finish(power_reading(1.5).reading, 1)
    assert desk.view()["answer"]["value"] == "+1.50"


def test_other_settings_read_anew(desk, reader, picture):
    """Another lamp, sense or distance is read with anew; the same ones are not."""
    put(desk, reader, picture(), 1.5)
    settings = Settings("concave 1", "mercury-green", "edge", 900.0)
    desk.set(settings)
    assert states(desk) == ["waiting"]
    options = reader.start().options
    assert (options.lamp.name, options.sense, options.camera_distance_mm) == (
        "mercury-green",
        "edge",
        900.0,
    )
    desk.set(settings)
    assert len(reader.orders) == 2


@pytest.mark.parametrize(
    "settings",
    [Settings("gone"), Settings("concave 1", "moon"), Settings("concave 1", sense="left")],
)
def test_settings_that_are_none(desk, settings):
    """A surface, lamp or sense that is not there is refused, and nothing changes."""
    before = desk.settings
    with pytest.raises(BadInput):
        desk.set(settings)
    assert desk.settings == before


def test_logging_keeps_everything(desk, reader, picture, surface):
    """The visit holds photographs with their bytes, readings with options, and what was told."""
    data = [picture(), picture(kind="JPEG")]
    put(desk, reader, data[0], 1.5)
    put(desk, reader, data[1])
    reader.start()
    reader.finish(Refused("no fringes found"))
    told = {"temperature_c": 20.5, "remark": "new lap", "by": "late shift"}
    result = desk.log(desk.view()["visit"], said("polish", 40.0, "tool", **told))
    (summary,) = list_sessions(surface.folder)
    assert (result["visit"], result["session"]) == (1, summary.session_id)
    visit = open_session(summary.place).visit
    assert [one.data for one in visit.photographs] == data
    assert [one.refusal for one in visit.photographs] == [None, "no fringes found"]
    assert [one.media_type for one in visit.photographs] == ["image/png", "image/jpeg"]
    (one,) = visit.readings
    assert (one.reading.power_fringes, one.photographs) == (1.5, (1,))
    assert one.options["lamp"] == "sodium"
    assert one.lamp.name == "sodium"
    assert visit.work == Work("polish", 40.0, "tool")
    assert (visit.temperature_c, visit.remarks, visit.by) == (20.5, "new lap", "late shift")
    assert visit.inputs["bench"] != desk.view()["visit"]
    view = desk.view()
    assert view["shots"] == []
    assert [row["power"] for row in view["history"]] == ["+1.50 ± 0.10"]


def test_records_of_what_was_used_are_kept(desk, reader, picture, surface):
    """The visit holds copies of plate, camera and lamp as the archive has them, as `log` does."""
    shop = surface.folder.parent
    add_instrument(shop, "camera", "overhead", {"distance_mm": 900.0})
    add_instrument(shop, "plate", surface.plate.name, {"form": "convex", "radius_mm": 3048.6})
    desk.set(Settings("concave 1", camera="overhead"))
    put(desk, reader, picture(), 1.5)
    (job,) = (order[0] for order in reader.orders)
    assert job.options.camera_distance_mm == 900.0
    result = desk.log(desk.view()["visit"], said("polish", 40.0, "tool"))
    (summary,) = list_sessions(surface.folder)
    kept = open_session(summary.place).visit.instruments
    assert {kind: record["name"] for kind, record in kept.items()} == {
        "plate": surface.plate.name,
        "camera": "overhead",
    }
    judged = surface_state(surface)
    assert result["verdict"] == judged.rows[-1].verdict == "inside"
    assert (result["next"], result["problems"]) == (judged.next_step.text(), list(judged.problems))


def test_what_is_said_goes_before_the_cameras_record(desk, reader, picture, surface):
    """A distance said by hand is read with, though a camera of the archive is chosen."""
    add_instrument(surface.folder.parent, "camera", "overhead", {"distance_mm": 900.0})
    desk.set(Settings("concave 1", camera="overhead", camera_distance_mm=1200.0))
    put(desk, reader, picture(), 1.5)
    assert reader.orders[0][0].options.camera_distance_mm == 1200.0
    assert desk.view()["cameras"] == ["overhead"]
    with pytest.raises(BadInput, match="gone"):
        desk.set(Settings("concave 1", camera="gone"))


def test_a_visit_is_logged_once(desk, reader, picture, surface):
    """Logging the same visit twice, even at once, writes one session and tells the same."""
    put(desk, reader, picture(), 1.5)
    visit = desk.view()["visit"]
    results = []
    threads = [
        threading.Thread(target=lambda: results.append(desk.log(visit, said("polish"))))
        for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(list_sessions(surface.folder)) == 1
    assert len(results) == 4
    assert all(result == results[0] for result in results)
    with pytest.raises(BadInput, match="not on the bench any more"):
        desk.log("another", said("polish"))


def test_a_visit_belongs_to_the_surface_that_it_was_begun_for(desk, reader, picture, surface):
    """What a device began for one surface is never logged to another that was chosen since."""
    full_surface(desk.archive, "concave 2")
    put(desk, reader, picture(), 1.5)
    begun = desk.view()["visit"]
    desk.set(Settings("concave 2"))
    assert desk.view()["visit"] != begun
    with pytest.raises(BadInput, match="begun for concave 1, and the bench has been turned to con"):
        desk.log(begun, said("polish", 30.0))
    assert list_sessions(surface.folder) == []


def test_a_second_log_with_something_else_is_refused(desk, reader, picture, surface):
    """Of two devices that log one visit with other words, one hears what the other said."""
    put(desk, reader, picture(), 1.5)
    visit = desk.view()["visit"]
    first = desk.log(visit, said("polish", 30.0))
    assert desk.log(visit, said("polish", 30.0)) == first
    with pytest.raises(
        BadInput, match=r"visit 1 of concave 1 .* polish, 30 min; .* polish, 45 min"
    ):
        desk.log(visit, said("polish", 45.0))
    assert len(list_sessions(surface.folder)) == 1


def test_a_contact_goes_with_its_photograph(desk, reader, picture):
    """Where the pieces touch, said of a photograph that was removed, signs no other one."""
    desk.set(Settings("concave 1", None, "centre"))
    desk.remove(put(desk, reader, picture(), 1.5))
    assert desk.settings.sense == "auto"


def test_the_page_is_told_what_was_advised(desk, reader, picture):
    """The work that the last visit's next step asks for, to be filled in by one tap."""
    assert desk.view()["advised"] is None
    desk.set(Settings("concave 1", None, "centre"))
    put(desk, reader, picture(), 30.0)
    desk.log(desk.view()["visit"], said())
    desk.set(Settings("concave 1", None, "centre"))
    put(desk, reader, picture(), 20.0)
    logged = desk.log(desk.view()["visit"], said("polish", 40.0, "work"))
    advised, state = desk.view()["advised"], surface_state(desk.chosen())
    step = state.next_step
    assert logged["next"] == step.text()
    assert advised == {
        "text": step.text(),
        "stage": step.stage or "polish",
        "minutes": round_minutes(step.minutes),
        "on_top": step.piece_on_top,
    }


def test_what_was_said_of_one_visit_ends_with_it(desk, reader, picture):
    """Where the pieces touch is not taken over to the next visit, nor to another surface."""
    desk.set(Settings("concave 1", None, "centre"))
    put(desk, reader, picture(), 1.5)
    desk.log(desk.view()["visit"], said("polish"))
    assert desk.settings.sense == "auto"
    full_surface(desk.archive, "concave 2")
    desk.set(Settings("concave 1", None, "edge"))
    desk.set(Settings("concave 2", None, "edge"))
    assert desk.settings.sense == "auto"


def test_no_log_while_a_reading_runs(desk, reader, picture, surface):
    """A visit is not logged before all its photographs are read."""
    put(desk, reader, picture())
    with pytest.raises(BadInput, match="still being read"):
        desk.log(desk.view()["visit"], said("polish"))
    assert list_sessions(surface.folder) == []


def test_work_alone_can_be_logged(desk, surface):
    """Work without a photograph is a visit; nothing at all is none."""
    with pytest.raises(BadInput, match="nothing to log"):
        desk.log(desk.view()["visit"], said())
    desk.log(desk.view()["visit"], said("#600", 20.0))
    assert len(list_sessions(surface.folder)) == 1


def test_removing(desk, reader, picture):
    """A photograph that is removed is not read any more, and is gone."""
    identity = put(desk, reader, picture())
    desk.remove(identity)
    assert reader.given_up == [0]
    reader.finish(power_reading(1.5).reading)
    assert desk.view()["shots"] == []
    with pytest.raises(BadInput, match="not on the bench any more"):
        desk.remove(identity)


def test_the_bench_is_bounded(desk, picture, monkeypatch):
    """More photographs, or more bytes, than the bench may hold are refused."""
    for _ in range(MOST_SHOTS):
        desk.add(picture(), "a.png")
    with pytest.raises(BadInput, match="bench is full"):
        desk.add(picture(), "a.png")
    desk.remove(desk.view()["shots"][0]["id"])
    monkeypatch.setattr("fringe.bench.desk.MOST_BYTES", 100_000)
    with pytest.raises(BadInput, match="bench is full"):
        desk.add(picture(), "a.png")


def test_a_telephones_heic_is_taken(desk, reader, surface):
    """What a telephone takes by default is read, shown and kept as it came."""
    pillow_heif = pytest.importorskip("pillow_heif")
    buffer = io.BytesIO()
    pillow_heif.from_pillow(Image.new("RGB", (160, 120), (200, 120, 10))).save(buffer)
    identity = desk.add(buffer.getvalue(), "IMG_0007.HEIC")
    shot = desk.shot(identity)
    assert (shot.name, shot.media_type) == ("IMG_0007.heic", "image/heic")
    assert Image.open(io.BytesIO(shot.preview)).size == (160, 120)
    reader.finish(power_reading(1.5).reading)
    desk.log(desk.view()["visit"], said())
    (summary,) = list_sessions(surface.folder)
    (kept,) = open_session(summary.place).visit.photographs
    assert (kept.data, kept.media_type) == (buffer.getvalue(), "image/heic")


@pytest.mark.parametrize("data", [b"", b"text", b"\x89PNG\r\n\x1a\n broken", b"\xff\xd8\xff\xe0"])
def test_what_is_no_picture_is_refused(desk, data):
    """Bytes that are no photograph never reach the bench."""
    with pytest.raises(BadInput):
        desk.add(data, "a.png")
    assert desk.view()["shots"] == []


def test_a_surface_must_be_chosen_first(surface, reader, picture, tmp_path):
    """With several surfaces none is taken for granted; a photograph waits for the choice."""
    full_surface(tmp_path / "shop", "concave 2")
    desk = Desk(tmp_path / "shop", reader)
    assert desk.view()["settings"]["surface"] is None
    desk.add(picture(), "a.png")
    assert desk.view()["shots"][0]["refusal"] == "choose the surface first"
    assert reader.orders == []
    desk.set(Settings("concave 2"))
    assert states(desk) == ["waiting"]
    assert len(reader.orders) == 1


def test_an_archive_without_surfaces(tmp_path, reader):
    """A folder that is not there, or empty, begins an archive, with nothing in it yet."""
    (tmp_path / "bare").mkdir()
    for name in ("gone", "bare"):
        desk = Desk(tmp_path / name, reader)
        assert desk.view()["surfaces"] == []
        with pytest.raises(BadInput, match="choose the surface first"):
            desk.chosen()
        desk.close()


def test_a_preview_is_small_and_upright(desk, picture):
    """The preview has the photograph's shape and at most 1200 pixels on a side."""
    identity = desk.add(picture(1600), "a.png")
    shot = desk.shot(identity)
    assert (shot.width, shot.height) == (1600, 1600)
    assert Image.open(io.BytesIO(shot.preview)).size == (1200, 1200)


def test_changes_are_counted(desk, reader, picture):
    """Whatever changes what is to be seen raises the count; looking does not."""
    seen = [desk.changed]

    def note():
        seen.append(desk.changed)

    identity = desk.add(picture(), "a.png")
    note()
    reader.start()
    note()
    reader.finish(power_reading(1.5).reading)
    note()
    desk.set_edge(identity, "auto")
    note()
    desk.remove(identity)
    note()
    assert seen == sorted(set(seen))
    desk.view()
    assert desk.changed == seen[-1]


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("rings.jpg", "rings.jpg"),
        ("../../etc/passwd", "passwd.jpg"),
        ("C:\\photos\\rings.JPEG", "rings.jpg"),
        ("rings.png", "rings.jpg"),
        ("/", "photograph.jpg"),
        ("", "photograph.jpg"),
        ("..", "photograph.jpg"),
        (".htaccess", "htaccess.jpg"),
        ("a\x00b\n\u202ec.jpg", "abc.jpg"),
        ("Ringe größer.tiff", "Ringe größer.jpg"),
        ("<b>.jpg", "<b>.jpg"),
        ("x" * 500 + ".jpg", "x" * 80 + ".jpg"),
    ],
)
def test_file_names_are_cleaned(sent, kept):
    """Of a file's name only a harmless part is kept, with the ending of what the file is."""
    assert clean_file_name(sent, ".jpg") == kept

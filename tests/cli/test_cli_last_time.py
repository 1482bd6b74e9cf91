"""What `fringe log` takes over from the last time, and from the photographs themselves."""

from __future__ import annotations

import json
from datetime import datetime, timedelta

import pytest
from PIL import Image

from calling import call
from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session, session_files
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import change_surface, load_surface
from fringe.archive.store.write import write_visit
from fringe.judge.state.visits import Work
from sample_visits import SAGS, hours

_TAKEN, _EXIF_IFD = 0x9003, 0x8769


def taken(name, when, shade=0):
    """A photograph with a time that its camera noted."""
    notes = Image.Exif()
    notes.get_ifd(_EXIF_IFD)[_TAKEN] = f"{when:%Y:%m:%d %H:%M:%S}"
    Image.new("L", (8, 8), shade).save(name, exif=notes)
    return name


def local(days):
    """A time so many days ago, without a zone, as a camera notes it."""
    return datetime.now().replace(microsecond=0) - timedelta(days=days)


@pytest.fixture
def shop(run, photos, surface, capsys):
    """The surface with records of a camera and a spherometer."""
    archive = surface.folder.parent
    for kind, name, *words in (
        ("camera", "desk", "--distance", "900mm", "--scale", "4"),
        ("spherometer", "S1", "--foot-circle", "40mm", "--ball", "6.35mm"),
    ):
        assert call(capsys, "instrument", "add", kind, archive, name, *words).status == 0
    return archive


def logged(run, *words):
    """What a visit said, as JSON."""
    code, out, err = run(*words, "--json")
    assert code == 0, out + err
    return json.loads(out)


def last(surface):
    """The last session, whole."""
    return open_session(session_files(surface.folder)[-1])


def test_the_camera_of_the_last_time(shop, run, photos, surface):
    """A photograph is read with the camera of the last one, which is said; `none` is none."""
    photos("3.5.jpg", "3.4.jpg", "3.3.jpg", "3.2.jpg", "3.1.jpg")
    assert logged(run, "3.5.jpg")["assumed"] == []
    logged(run, "3.4.jpg", "--camera", "desk")
    assert logged(run, "3.3.jpg")["assumed"] == ["as the last time: camera desk"]
    assert photos.reader.options.camera_distance_mm == 900.0
    assert last(surface).visit.instruments["camera"]["name"] == "desk"
    assert logged(run, "3.2.jpg", "--camera-distance", "500mm")["assumed"] == []
    assert photos.reader.options.camera_distance_mm == 500.0
    logged(run, "3.1.jpg", "--camera", "none")
    assert photos.reader.options.camera_distance_mm is None


def test_the_spherometer_of_the_last_time(shop, run, surface):
    """Readings are by the spherometer of the last ones; `none` has point feet."""
    logged(run, *SAGS, "--spherometer", "S1")
    assert logged(run, *SAGS)["assumed"] == ["as the last time: spherometer S1"]
    assert last(surface).visit.spherometers[0].geometry["name"] == "S1"
    assert not any("S1" in one for one in logged(run, *SAGS, "--spherometer", "none")["assumed"])
    assert last(surface).visit.spherometers[0].geometry == {}


def test_stage_and_piece_of_the_last_time(run, surface):
    """Minutes alone mean the work of the last time; what is said goes before it."""
    run("--stage", "9um", "--minutes", "30", "--on-top", "tool")
    assert logged(run, "--minutes", "20")["assumed"] == ["as the last time: stage 9um, tool on top"]
    assert list_sessions(surface.folder)[-1].work == Work("9um", 20.0, "tool")
    logged(run, "--minutes", "20", "--on-top", "work")
    assert list_sessions(surface.folder)[-1].work == Work("9um", 20.0, "work")
    logged(run, "--remark", "looked")
    assert list_sessions(surface.folder)[-1].work == Work()
    logged(run, "--replaces", "1", "--minutes", "25")
    assert list_sessions(surface.folder)[0].work == Work("9um", 25.0, "tool")


def test_other_work_was_advised(run, surface):
    """Where the advice was other work than that of the last time, minutes alone are asked about."""
    advice = {"action": "polish", "stage": "polish", "piece_on_top": "work", "text": "polish a bit"}
    work = Visit(work=Work("polish", 30.0, "tool"))
    write_visit(surface, work, now=hours(0), advise=lambda _: advice)
    code, out, err = run("--minutes", "20")
    assert (code, out) == (2, "")
    assert "polish, tool on top, as the last time; but what was advised then is polish a bit" in err
    assert run("--minutes", "20", "--on-top", "work")[0] == 0
    assert run("--minutes", "20", "--yes")[0] == 0


def test_the_photograph_tells_the_time(run, photos, surface):
    """The visit is when its last photograph was taken, which is said; --when goes before it."""
    when = local(2)
    for name, hour in (("3.5.jpg", 0), ("3.4.jpg", 1)):
        taken(name, when + timedelta(hours=hour), hour)
    told = logged(run, "3.5.jpg", "3.4.jpg")
    assert told["when"] == (when + timedelta(hours=1)).astimezone().isoformat()
    assert told["when_from"] == "photograph"
    assert list_sessions(surface.folder)[0].when_given
    line = run(taken("3.3.jpg", local(1), 3))[1].splitlines()[0]
    assert line.endswith(f"{local(1):%Y-%m-%d %H:%M}, the photograph's own time")
    told = logged(run, taken("3.2.jpg", local(0.5), 4), "--when", f"{local(0.2).isoformat()}")
    assert told["when_from"] is None
    photos("3.1.jpg")  # has no time of its own
    assert logged(run, "3.1.jpg")["when_from"] is None


@pytest.mark.parametrize(
    ("days", "message"),
    [
        ((3,), "the photograph's time: {:%Y-%m-%d %H:%M} is before visit 1"),
        ((-2,), "the photograph's time: {:%Y-%m-%d %H:%M} is in the future"),
        ((0.1, 1), "which is more than one visit"),
    ],
)
def test_a_time_that_contradicts(run, photos, surface, days, message):
    """A photograph from before the last visit, the future, or another day is asked about."""
    run("--remark", "first", "--when", local(2).isoformat())
    names = [taken(f"3.{i}.jpg", local(one), i) for i, one in enumerate(days)]
    code, out, err = run(*names)
    assert (code, out) == (2, "")
    assert message.format(local(days[0])) in err
    assert run(*names, "--yes")[0] == 0
    assert len(list_sessions(surface.folder)) == 2


def test_the_newest_photograph(run, photos, surface, tmp_path):
    """The newest photograph of a folder that is named once, never one that is logged already."""
    change_surface(surface, watches=None)
    code, _, err = run("--newest")
    assert code == 2
    assert "watches no folder yet; name it once, as --newest incoming" in err
    folder = tmp_path / "incoming"
    folder.mkdir()
    for i, days in enumerate((3, 2, 1)):
        taken(folder / f"3.{i}.jpg", local(days), i)
    told = logged(run, "--newest", "incoming")
    (said,) = told["assumed"]
    assert said == f"3.2.jpg, the newest in {folder}; 2 more are newer than the last visit"
    assert told["when_from"] == "photograph"
    assert load_surface(surface.folder).watches == str(folder)
    code, _, err = run("--newest")
    assert (code, "there is no photograph newer than the last visit" in err) == (2, True)
    taken(folder / "2.5.jpg", local(0.1), 9)
    assert logged(run, "--newest")["power_fringes"] == 2.5
    assert run("--newest", "incoming", "2.5.jpg")[0] == 2


def test_a_surface_without_a_plate_lies_on_its_partner(capsys, photos, surface):
    """A piece without a plate is laid on what it was laid on the last time."""
    photos("3.5.jpg", "3.4.jpg")
    words = ("--form", "convex", "--radius", "3048mm", "--diameter", "150mm", "--lamp", "sodium")
    assert call(capsys, "surface", "add", "shop", "cx", *words).status == 0
    call(capsys, "log", "shop/cx", "3.5.jpg", "--against", "concave 1")
    told = call(capsys, "log", "shop/cx", "3.4.jpg", "--json").json
    assert told["assumed"] == ["as the last time: on concave 1"]
    assert told["partner"] == "concave 1"


@pytest.mark.parametrize("command", ["read", "watch", "settle"])
def test_cameras_where_photographs_are_read(shop, capsys, photos, command):
    """A camera on record is taken wherever photographs are read; one that is none is refused."""
    photos("3.5.jpg")
    words = {
        "read": ("read", "3.5.jpg"),
        "watch": ("watch", ".", "--once"),
        "settle": ("settle", "3.5.jpg", "3.5.jpg", "3.5.jpg", "--times", "0,1,2"),
    }[command]
    told = call(capsys, *words, "--lamp", "sodium", "--archive", "shop", "--camera", "dest")
    assert told.status == 2
    assert "no camera named 'dest'; there are desk, the nearest is 'desk'" in told.err
    told = call(capsys, *words, "--lamp", "sodium", "--camera", "desk")
    assert "--camera: give the archive that has 'desk' on record" in told.err


def test_a_misspelt_lamp_is_answered_with_the_nearest(run, photos, capsys):
    """In commands with and without an archive."""
    photos("3.5.jpg")
    for told in (call(capsys, "lamps", "soduim").err, run("3.5.jpg", "--lamp", "soduim")[2]):
        assert "no lamp named 'soduim'; the nearest is 'sodium'; the lamps are" in told
    assert "the nearest is 'borosilicate'" in call(capsys, "glasses", "borosilikat").err


def test_the_glasses(capsys):
    """`fringe glasses` lists all of the table; one of them with its source."""
    told = call(capsys, "glasses", "--json").json["glasses"]
    out = call(capsys, "glasses").out
    assert all(f"{one['name']} " in out for one in told)
    assert "7.1 1e-6/K" in call(capsys, "glasses", "bk7").out
    assert "Greer" in call(capsys, "glasses", "bk7").out

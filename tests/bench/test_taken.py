"""Readings without a photograph: by eye, on the spherometer, and on the partner."""

from __future__ import annotations

from dataclasses import replace

import pytest
from bench_page import said

from fringe.archive.instruments import add_instrument
from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session
from fringe.archive.store.surface import Surface, add_surface
from fringe.archive.views.surface_state import surface_state
from fringe.bench.settings import Settings
from fringe.bench.taken import MOST_READINGS, Taken
from fringe.errors import BadInput
from sample_visits import power_reading


def logged_visit(surface):
    (summary,) = list_sessions(surface.folder)
    return open_session(summary.place).visit


def shown(answer):
    return [answer[name] for name in ("value", "u95", "verdict", "reason")]


def test_seen_by_eye(desk, surface):
    """Rings that were counted are answered as the record judges them once they are logged."""
    desk.set_taken(lambda taken: Taken("rings 1.5 centre"))
    answer = desk.view()["answer"]
    assert answer["value"] == "+1.50"
    desk.log(desk.view()["visit"], said("polish", 30.0))
    (one,) = logged_visit(surface).readings
    assert (one.method, one.reading.power_fringes) == ("eye", 1.5)
    assert answer["verdict"] == surface_state(surface).rows[-1].verdict
    assert not desk.view()["taken"]["by_eye"]


def test_the_spherometer_reading_after_reading(desk, surface):
    """Readings are added one by one, the feet are the record's, and half of them says what lacks.

    The plate's 808 um are those of a convex of 3048.6 mm on balls 70.2 mm from the axis. At the
    same radius the concave work would read (R + b)/(R - b) of it, 809.59 um; it reads 16.6 um
    less, which over 75 mm is (75/70.2)^2 as much: 64.3 fringes of 589.29 nm (analytic).
    """
    values = {"foot_circle_mm": 140.45, "ball_diameter_mm": 6.0, "u_reading_um": 0.5}
    add_instrument(desk.archive, "spherometer", "three balls", values)
    assert desk.view()["spherometers"] == ["three balls"]
    desk.set_taken(lambda taken: Taken(spherometer="three balls"))
    for piece, reading in (("zero", "0um"), ("plate", "808um"), ("plate", "808um")):
        desk.set_taken(
            lambda taken, piece=piece, reading=reading: taken.with_reading(piece, reading)
        )
    view = desk.view()
    assert view["answer"] is None
    assert view["taken"]["hint"].endswith("give readings on the work as well, read in turn")
    desk.set_taken(lambda taken: taken.with_reading("work", "700um"))
    desk.set_taken(lambda taken: taken.without_last("work").with_reading("work", "793um"))
    view = desk.view()
    assert view["taken"]["plate"] == ["808um", "808um"]
    assert abs(float(view["answer"]["value"].replace("−", "-"))) == pytest.approx(64.3, rel=0.02)
    desk.log(view["visit"], said("#400", 25.0))
    plate, work = logged_visit(surface).spherometers
    assert (plate.piece, plate.height_mm.tolist()) == ("plate", [0.808, 0.808])
    assert (work.geometry["ball_diameter_mm"], work.height_mm.tolist()) == (6.0, [0.793])
    row = surface_state(surface).rows[-1]
    assert view["answer"]["verdict"] == row.verdict


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda taken: taken.with_reading("work", "808"), "808um"),
        (lambda taken: taken.with_reading("lap", "808um"), "not plate, work or zero"),
        (lambda taken: taken.with_reading("work", "soon"), "soon"),
        (lambda taken: Taken(work=("1um",) * MOST_READINGS).with_reading("work", "1um"), "enough"),
    ],
)
def test_readings_that_are_none(desk, change, says):
    """A reading without a unit, on no piece, or one too many is refused; nothing changes."""
    with pytest.raises(BadInput, match=says):
        desk.set_taken(change)
    assert desk.view()["taken"]["work"] == []


def test_laid_on_the_partner(desk, reader, picture, surface):
    """A contact with the other piece is read by that one's radius, and logged as the pair's."""
    add_surface(desk.archive, Surface("convex 1", "convex", 3050.0, 150.0, lamp="sodium"))
    desk.set(Settings("concave 1", None, "centre", against="convex 1"))
    desk.add(picture(), "rings.png")
    assert reader.start().options.plate_radius_mm == 3050.0
    reader.finish(power_reading(1.5, 0.1, "centre").reading)
    answer = desk.view()["answer"]
    assert (answer["label"], answer["value"]) == ("Power on convex 1", "+1.50")
    desk.log(desk.view()["visit"], said())
    (one,) = logged_visit(surface).readings
    assert one.against == "convex 1"
    assert desk.settings.against is None  # it was said of this visit
    with pytest.raises(BadInput, match="two do not fit"):
        desk.set(Settings("concave 1", against="concave 1"))


def test_what_is_no_power_is_shown_all_the_same(desk, reader, picture):
    """Rings without an edge have no power: their step is shown, and judged by nothing."""
    desk.add(picture(), "field.png")
    rings = replace(
        power_reading(1.5).reading, power_fringes=None, ring_step_px2=5443.4, ring_step_u95_px2=1.5
    )
    reader.finish(rings)
    answer = desk.view()["answer"]
    assert (answer["label"], answer["value"]) == ("Ring step", "5443.4")
    assert answer["verdict_text"] == "Not judged by the tolerance"


def test_it_is_taken_back_with_the_visit(desk):
    """Undo puts readings without a photograph back on the bench, too."""
    desk.set_taken(lambda taken: Taken("rings 1.5 centre"))
    visit = desk.view()["visit"]
    desk.log(visit, said("polish", 30.0))
    desk.undo(visit)
    assert desk.view()["taken"]["by_eye"] == "rings 1.5 centre"

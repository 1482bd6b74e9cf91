"""A visit that was just logged is taken back, and logged ones are put right."""

from __future__ import annotations

import pytest
from bench_page import said

from fringe.archive.store.order import list_sessions
from fringe.archive.views.asked import Asked
from fringe.archive.views.surface_state import surface_state
from fringe.bench import undo as taking_back
from fringe.bench.settings import Settings
from fringe.errors import BadInput
from sample_visits import power_reading


def logged(desk, reader, data, request=None):
    """Put a photograph on the bench, read it and log it; the visit's identity."""
    desk.set(Settings("concave 1", None, "centre"))
    desk.add(data, "rings.png")
    reader.finish(power_reading(1.5, 0.1, "centre").reading)
    visit = desk.view()["visit"]
    desk.log(visit, request or said("polish", 40.0))
    return visit


def test_a_visit_is_taken_back(desk, reader, picture, surface):
    """Undo strikes the visit out and puts photograph, reading and contact back on the bench."""
    data = picture()
    visit = logged(desk, reader, data)
    undo = desk.view()["undo"]
    assert (undo["id"], undo["visit"], undo["surface"]) == (visit, 1, "concave 1")
    assert 50 < undo["seconds"] <= taking_back.UNDO_S
    desk.undo(visit)
    view = desk.view()
    assert view["undo"] is None
    assert view["settings"]["sense"] == "centre"
    assert [desk.shot(one["id"]).data for one in view["shots"]] == [data]
    assert view["answer"]["value"] == "+1.50"
    (row,) = view["history"]
    assert row["struck"]
    assert surface_state(surface).rows == ()
    # its photograph is known to be in the visit that was taken back: it is not asked about
    told = desk.log(view["visit"], said("polish", 30.0))
    assert told["visit"] == 2


def test_it_cannot_be_taken_back_for_ever(desk, reader, picture, surface, monkeypatch):
    """After a minute the visit stays, and the message says how it is struck out."""
    visit = logged(desk, reader, picture())
    monkeypatch.setattr(taking_back, "UNDO_S", 0.0)
    assert desk.view()["undo"] is None
    with pytest.raises(BadInput, match="strike it out under Progress"):
        desk.undo(visit)
    assert len(list_sessions(surface.folder)) == 1


def test_photographs_stay_where_others_lie_by_then(desk, reader, picture):
    """What was put on the bench since is not mixed with the photographs of the undone visit."""
    visit = logged(desk, reader, picture())
    new = desk.add(picture(), "next.png")
    desk.undo(visit)
    assert [one["id"] for one in desk.view()["shots"]] == [new]


def test_a_photograph_that_was_logged_before_is_asked_about(desk, reader, picture, surface):
    """The same bytes once more are hardly meant; the question names the visit."""
    data = picture()
    logged(desk, reader, data)
    with pytest.raises(Asked, match="this photograph is in visit 1 of concave 1 already"):
        logged(desk, reader, data)
    assert len(desk.view()["shots"]) == 1
    desk.log(desk.view()["visit"], said("polish", 40.0, yes=True))
    assert len(list_sessions(surface.folder)) == 2

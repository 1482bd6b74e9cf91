"""Instruments put on record and reports opened on the page; smaller plates and where they lay."""

from __future__ import annotations

import pytest
from bench_page import said

from fringe.archive.instruments import load_instrument
from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session
from fringe.bench import records
from fringe.bench.settings import Settings
from fringe.bench.taken import Taken
from fringe.bench.typed_records import instrument_record
from fringe.errors import BadInput
from sample_visits import power_reading

PLATE = {"kind": "plate", "name": "P9", "form": "convex", "radius": "3048.60 ± 0.30 mm (k=2)"}
BALLS = {
    "kind": "spherometer",
    "name": "three balls",
    "feet": "circle",
    "size": "140mm",
    "ball": "6.35mm",
    "reading_u": "0.5um",
    "calibrated": "2026-03-14",
    "drift": "0.3um",
}
CAMERA = {"kind": "camera", "name": "overhead", "distance": "900 ± 10 mm (k=2)", "scale": "12,5"}
LAMP = {"kind": "lamp", "name": "arc", "lines": "546.07:1:10, 577", "source": "label"}


@pytest.mark.parametrize(
    ("values", "kept"),
    [
        (PLATE, {"radius_mm": 3048.6, "u_radius_mm": 0.15, "form": "convex"}),
        (BALLS, {"foot_circle_mm": 140.0, "u_reading_um": 0.5, "u_drift_um_per_year": 0.3}),
        (CAMERA, {"distance_mm": 900.0, "u_distance_mm": 5.0, "scale_px_per_mm": 12.5}),
        (LAMP, {"source": "label"}),
        ({**BALLS, "feet": "legs", "size": "120mm"}, {"legs_mm": [120.0]}),
        ({**BALLS, "feet": "ring", "size": "60mm,64mm", "ball": ""}, {"ring_outer_mm": 64.0}),
    ],
)
def test_instruments_are_put_on_record(desk, values, kept):
    """What is typed of an instrument is kept as `fringe instrument add` keeps it, and listed."""
    changed = desk.changed
    name, record = instrument_record({**values, "thickness": " "})
    records.put_on_record(desk, name, record, replace=False)
    found = load_instrument(desk.archive, values["kind"], name)
    for key, value in kept.items():
        assert found.values[key] == pytest.approx(value)
    row = next(row for row in records.instruments_answer(desk)["rows"] if row[1] == name)
    assert (row[0], row[3]) == (values["kind"], found.added)
    assert desk.changed > changed
    assert name in desk.view()[f"{values['kind']}s"]
    with pytest.raises(BadInput, match="already"):
        records.put_on_record(desk, name, record, replace=False)
    records.put_on_record(desk, name, record, replace=True)
    known = records.instrument_answer(desk, values["kind"], name)["rows"]
    assert name in known[0][0]
    assert not any(str(desk.archive) in text for row in known for text in row)


def test_the_certificate_stays_as_it_was_typed(desk):
    """The record keeps an expanded uncertainty in its own words, under the option's name."""
    records.put_on_record(desk, *instrument_record(PLATE), replace=False)
    kept = load_instrument(desk.archive, "plate", "P9").values["as_typed"]
    assert kept == "--radius 3048.60 ± 0.30 mm (k=2)"


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({"kind": "clock", "name": "x"}, "no plate, spherometer, camera or lamp"),
        ({**PLATE, "name": " "}, "give it a name"),
        ({**PLATE, "radius": ""}, "needs its certified radius"),
        ({**PLATE, "radius": "3048"}, "unit"),
        ({**BALLS, "size": ""}, "say how wide"),
        ({**BALLS, "calibrated": "", "drift": "1um"}, "a drift counts from a date"),
        ({**CAMERA, "distance": "", "scale": ""}, "needs its distance or its scale"),
        ({**LAMP, "source": ""}, "where they come from"),
        ({**LAMP, "name": "sodium"}, "a lamp of the shipped table"),
    ],
)
def test_instruments_that_make_no_sense(desk, values, why):
    """A record that cannot be is refused with the reason, and nothing is written."""
    with pytest.raises(BadInput, match=why):
        records.put_on_record(desk, *instrument_record(values), replace=False)
    assert not list(desk.archive.glob("instruments/**/*.toml"))


def test_a_report(desk, monkeypatch):
    """The page opens the report of the surface on the bench; printed where a browser is there."""
    desk.set_taken(lambda taken: Taken("rings 1.5 centre"))
    desk.log(desk.view()["visit"], said())
    name, html = records.report_answer(desk, "")
    assert name == "concave 1"
    assert html.startswith("<!DOCTYPE html>")
    assert "concave 1: report" in html
    monkeypatch.setattr("fringe.show.reports.pdf.printed", lambda html, browser, paper: b"%PDF-")
    monkeypatch.setattr("fringe.show.reports.pdf.printing_browser", lambda: "browser")
    assert records.report_pdf(desk, "", "letter") == (name, b"%PDF-")
    with pytest.raises(BadInput, match="no paper"):
        records.report_pdf(desk, "", "napkin")
    monkeypatch.setattr("fringe.show.reports.pdf.printing_browser", lambda: None)
    with pytest.raises(BadInput, match="no browser"):
        records.report_pdf(desk, "", "A4")


def test_a_smaller_plate_and_where_it_lay(desk, reader, picture, surface):
    """With a smaller plate the power is over its circle, and each photograph keeps its place."""
    desk.set(Settings("concave 1", None, "centre", aperture_mm=80.0))
    ids = [desk.add(picture(), f"{name}.png") for name in ("left", "right")]
    assert {job.options.diameter_mm for job, *_ in reader.orders} == {80.0}
    for number in (0, 1):
        reader.finish(power_reading(0.5, 0.1, "centre").reading, number)
    desk.set_place(ids[0], (-30.0, 0.0))
    with pytest.raises(BadInput, match="off the work"):
        desk.set_place(ids[1], (60.0, 60.0))
    visit = desk.view()["visit"]
    with pytest.raises(BadInput, match="of each photograph where the plate lay, or of none"):
        desk.log(visit, said())
    desk.set_place(ids[1], (30.0, 5.0))
    desk.log(visit, said())
    (session,) = list_sessions(surface.folder)
    found = open_session(session.place).visit.readings
    assert [one.aperture_mm for one in found] == [80.0, 80.0]
    assert [one.place_mm for one in found] == [(-30.0, 0.0), (30.0, 5.0)]
    assert desk.settings.aperture_mm is None  # said of this visit
    with pytest.raises(BadInput, match="more than the work"):
        desk.set(Settings("concave 1", aperture_mm=200.0))

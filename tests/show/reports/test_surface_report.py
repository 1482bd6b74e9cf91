"""A surface's report from its folder: what it speaks of, what it proves, what it leaves out."""

from __future__ import annotations

import dataclasses
import io
import re

import pytest
from PIL import Image

from fringe.archive.store.session import Photograph, Visit
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.proof import prove_archive
from fringe.archive.views.changed_visits import strike_visit
from fringe.archive.views.photographs import logged
from fringe.archive.views.sagittas import sagitta_readings
from fringe.errors import BadInput
from fringe.judge.state.visits import Work
from fringe.optics.lamps import lamp
from fringe.orders.options import ReadOptions
from fringe.quantity import standard
from fringe.show.figures.style import png_bytes
from fringe.show.reports.surface_report import surface_report
from sample_visits import FRINGES_ALONE, full_surface, hours, plain_visit, power_reading
from webpage import Page


def png(pixels):
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "PNG")
    return buffer.getvalue()


@pytest.fixture
def surface(tmp_path):
    return full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)


@pytest.fixture
def photographed(made_reading, made_photo):
    """A visit with photographs of these powers, each read as it was rendered."""

    def make(*powers, stage=None, minutes=None):
        readings, photographs = [], []
        for number, power in enumerate(powers, 1):
            reading = made_reading(
                power,
                tilt=(3.0, 0.0),
                wavelength_nm=589.29,
                irregularity_u95_fringes=0.01,
                power_u_parts={"fit": standard(0.05)},
            )
            readings.append(
                logged(reading, (number,), ReadOptions(lamp("sodium"), diameter_mm=150.0))
            )
            data = png(made_photo(reading))
            photographs.append(Photograph(f"rings-{number}.png", data, "image/png"))
        return Visit(
            readings=tuple(readings), photographs=tuple(photographs), work=Work(stage, minutes)
        )

    return make


@pytest.fixture(autouse=True)
def coarse(monkeypatch):
    """Draw every figure with few pixels: here it is only seen that it is there."""
    monkeypatch.setattr("fringe.show.reports.report.png_bytes", lambda one: png_bytes(one, dpi=40))


@pytest.fixture
def undrawn(monkeypatch):
    """Leave the figures away, which take most of the time, where only words are looked at."""
    monkeypatch.setattr("fringe.show.reports.surface_report._figures", lambda *_: ({}, []))


def log(surface, *visits):
    return [log_visit(surface, visit, now=hours(i)) for i, visit in enumerate(visits)]


def banner(html):
    return Page(html).root.all("section")[0].text


def table(html, caption):
    (found,) = [t for t in Page(html).root.all("table") if caption in t.all("caption")[0].text]
    return [[cell.text for cell in row.children] for row in found.all("tr")]


def test_the_last_reading_is_reported_with_all_its_figures(surface, photographed):
    """Verdict, figures, budget and the photograph's digest come from the last visit's reading."""
    log(surface, Visit(readings=(power_reading(8.0),)), photographed(1.25, stage="polish"))
    report = surface_report(surface, made_at=hours(5))
    assert (report.verdict, report.sessions, report.problems) == ("inside", 2, ())
    page = Page(report.html).root
    assert "power +1.25 ± 0.05 fringes is proven inside ±2 fringes" in banner(report.html).lower()
    names = [image.attributes["alt"] for image in page.all("img")]
    begins = [
        "The photograph rings-1.png with the fitted dark fringes",
        "Map of the gap",
        "Map of what the best sphere leaves",
        "The work's height",
        "Departure from the plate",
        "Power of concave 1 over 2",
        "Irregularity of concave 1 over 2",
    ]
    assert [alt.startswith(start) for alt, start in zip(names, begins, strict=True)] == [True] * 7
    assert table(report.html, "Power +1.25 ± 0.05")[0][:2] == ["Input", "Share of the variance"]
    assert table(report.html, "Photographs")[1][0] == "rings-1.png"
    assert "2026-03-14 14:30" in page.all("footer")[0].text


def test_nothing_leaves_the_page(surface, photographed):
    """No attribute of any element points outside the page, and no script runs in it."""
    log(surface, photographed(1.25))
    page = Page(surface_report(surface).html).root

    def every(element):
        yield element
        for child in element.children:
            yield from every(child)

    for element in every(page):
        assert element.tag not in ("script", "link", "iframe", "object", "form")
        for name, value in element.attributes.items():
            if name in ("href", "src", "srcset", "action", "poster", "data"):
                assert value is not None
                assert value.startswith(("#", "data:image/png;base64,"))


def test_work_after_the_reading_is_named(surface, photographed, undrawn):
    """A verdict says that it does not cover work that was logged after its reading."""
    log(surface, photographed(1.25), Visit(work=Work("polish", 25.0)), Visit(work=Work("polish")))
    text = banner(surface_report(surface).html)
    assert "Work was logged after this reading: 25 min of polish." in text
    assert "The verdict does not cover it." in text
    assert "Proven inside" in text


def test_visits_that_were_struck_out_are_said_and_left_out(surface, photographed, undrawn):
    """A visit that was struck out is neither judged nor listed, but named with why."""
    log(surface, photographed(1.25), photographed(7.5))
    strike_visit(surface, "2", "the wrong plate")
    html = surface_report(surface).html
    (certificate,) = [
        one for one in Page(html).root.all("div") if one.attributes.get("class") == "certificate"
    ]
    assert "1 visit struck out: visit 2 (the wrong plate)." in certificate.text
    assert "+1.25" in banner(html)
    assert len(table(html, "All visits")) == 2
    digest = prove_archive(surface.folder.parent).digest
    assert certificate.all("dd")[-1].text == digest


def test_a_look_after_the_reading_is_no_work(surface, photographed, undrawn):
    """Visits without work after the reading are named as what they are."""
    log(surface, photographed(1.25), plain_visit())
    text = banner(surface_report(surface).html)
    assert "none of them holds another" in text
    assert "Work was logged" not in text


def test_several_readings_are_shown_beside_their_mean(surface, photographed, undrawn):
    """A visit's mean (analytic: 1.2 to its digits) is in banner and history, each reading apart."""
    log(surface, photographed(1.2, 1.3))
    html = surface_report(surface).html
    (shown,) = re.findall(r"Power: (\+1\.2\S* ± \S+) fringes .* mean of 2 readings", banner(html))
    assert shown in table(html, "All visits")[1]
    rows = table(html, "All readings of this visit")
    assert [row[:3] for row in rows[1:]] == [
        ["rings-1.png", "+1.20 ± 0.05", "centre"],
        ["rings-2.png", "+1.30 ± 0.05", "centre"],
    ]
    assert "from rings-2.png" in Page(html).root.text


def test_a_damaged_session_is_named_and_left_out(surface, photographed, undrawn):
    """A session with one altered byte is a line under the evidence; the others are reported."""
    paths = log(surface, photographed(1.25), photographed(1.1))
    data = bytearray(paths[1].read_bytes())
    data[len(data) // 2] ^= 1
    paths[1].write_bytes(bytes(data))
    report = surface_report(surface)
    assert report.sessions == 1
    assert [paths[1].name in line for line in report.problems] == [True]
    assert f"Not in this report: {paths[1]}" in Page(report.html).root.text
    assert "+1.25 ± 0.05" in banner(report.html)
    assert "The session was proven unchanged" in Page(report.html).root.text


def test_a_reading_by_eye_has_no_photograph(surface):
    """A reading without a photograph is reported by its numbers, without an overlay."""
    log(surface, Visit(readings=(power_reading(-3.0, sense="edge"),)))
    report = surface_report(surface)
    assert report.verdict == "outside"
    assert "Photograph and fit" not in Page(report.html).root.text


def test_an_empty_surface_has_a_report(surface):
    """A surface without a visit gets a page that says so."""
    report = surface_report(surface)
    assert (report.verdict, report.sessions) == (None, 0)
    assert "No visit has been logged yet." in Page(report.html).root.text


def test_names_are_text(tmp_path, photographed):
    """A surface's name, its remarks and file names cannot become markup."""
    bad = "<script>alert('&amp;')</script>"
    surface = full_surface(tmp_path / "shop", name=bad)
    visit = photographed(1.25)
    photograph = Photograph(bad, visit.photographs[0].data, "image/png")
    log(surface, Visit(remarks=bad, readings=visit.readings, photographs=(photograph,)))
    page = Page(surface_report(surface).html).root
    assert page.all("h1")[0].text == bad
    assert not page.all("script")


def test_steps_are_told(surface, photographed, undrawn):
    """Each session and the page itself are one step, told in their order."""
    log(surface, photographed(1.25), plain_visit())
    told = []
    surface_report(surface, tell=lambda done, total: told.append((done, total)))
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_a_surface_in_no_archive_is_refused(surface):
    """A surface that was never added has no sessions to report."""
    import dataclasses

    with pytest.raises(BadInput, match="add it first"):
        surface_report(dataclasses.replace(surface, folder=None))


def test_a_contact_with_the_partner_is_not_the_surfaces_own(surface, photographed, undrawn):
    """A later contact with another piece neither judges the surface nor takes its place."""
    log(surface, photographed(1.25))
    later = photographed(-7.0)
    (one,) = later.readings
    against = (dataclasses.replace(one, against="convex 1"),)
    log_visit(surface, dataclasses.replace(later, readings=against), now=hours(3))
    report = surface_report(surface)
    assert report.verdict == "inside"
    assert "power +1.25" in banner(report.html).lower()
    assert "7.00" not in report.html


def test_the_spherometer_alone_is_reported(surface, undrawn):
    """Before there are fringes the page shows what the spherometer says, with its verdict."""
    kept, result = sagitta_readings(surface, [0.9226], [0.9126], [0.0], u_reading_mm=5e-4)
    log_visit(surface, Visit(spherometers=kept), now=hours(1))
    report = surface_report(surface)
    assert report.verdict == "outside"
    power = result.power_fringes.text
    assert power in table(report.html, "By the spherometer")[2][1]
    assert ["Power", power] in table(report.html, "Measured by the spherometer")
    assert "power: " in banner(report.html).lower()

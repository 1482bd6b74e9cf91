"""A pair's report from its surfaces' folders: the verdict first, then what it rests on."""

from __future__ import annotations

import dataclasses
import io

import pytest
from PIL import Image

from fringe.archive.store.session import Photograph, Visit
from fringe.archive.store.surface import Plate, Surface, add_surface
from fringe.archive.store.write import log_visit
from fringe.archive.views.pair_evidence import pair_record
from fringe.archive.views.photographs import logged
from fringe.judge.pair.match import match
from fringe.judge.pair.next_step import next_step
from fringe.judge.state.visits import Work
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.lamps import lamp
from fringe.orders.options import ReadOptions
from fringe.show.figures.style import png_bytes
from fringe.show.reports.pair_report import pair_report
from sample_visits import hours, power_reading
from webpage import Page

WAVE = 589.29
POLISH = Work("polish", 30.0, "tool")


@pytest.fixture(autouse=True)
def coarse(monkeypatch):
    """Draw every figure with few pixels: here it is only seen that it is there."""
    monkeypatch.setattr("fringe.show.reports.report.png_bytes", lambda one: png_bytes(one, dpi=40))


@pytest.fixture
def pieces(tmp_path):
    """A convex on plate P8, and a concave that is made to it."""
    made = []
    for name, form, plate in (
        ("<convex> 1", "convex", Plate("P8", 3048.0, 0.2)),
        ("concave 1", "concave", Plate("<convex> 1", 3048.0, 0.2)),
    ):
        made.append(
            add_surface(
                tmp_path / "shop",
                Surface(
                    name,
                    form,
                    3048.0,
                    150.0,
                    plate=plate,
                    lamp="sodium",
                ),
            )
        )
    return made


@pytest.fixture
def contact(made_reading, made_photo):
    """A visit with a photograph of this power, read as it was rendered."""

    def make(power, against=None, warnings=()):
        reading = made_reading(power, tilt=(3.0, 0.0), wavelength_nm=WAVE, warnings=warnings)
        buffer = io.BytesIO()
        Image.fromarray(made_photo(reading)).save(buffer, "PNG")
        one = logged(reading, (1,), ReadOptions(lamp("sodium"), diameter_mm=150.0))
        return Visit(
            readings=(dataclasses.replace(one, against=against),),
            photographs=(Photograph(f"rings {power:g}.png", buffer.getvalue(), "image/png"),),
        )

    return make


def report(pieces, tolerance=None):
    """The report, and its page."""
    record = pair_record(*pieces, contact_u_fringes=0.05, proven=True)
    found = match(
        record.convex,
        record.concave,
        record.plates,
        record.contacts,
        record.sagittas,
        wavelength_nm=WAVE,
        tolerance=tolerance,
        irregularity=record.irregularity,
    )
    made = pair_report(record, found, next_step(found), made_at=hours(9))
    return made, Page(made.html).root


def certificate(page):
    return next(one for one in page.all("div") if one.attributes.get("class") == "certificate")


def part(page, name):
    return next(one for one in page.all("section") if one.attributes["aria-labelledby"] == name)


def rows(page, caption):
    """Cells of the table whose caption starts so, without its head."""
    found = next(t for t in page.all("table") if t.all("caption")[0].text.startswith(caption))
    cells = [[c.text for c in row.children if c.tag in ("th", "td")] for row in found.all("tr")]
    return cells[1:]


def test_the_verdict_comes_first(pieces, contact):
    """The page says whether they match, by how much, and what to do; then shows the contact."""
    log_visit(pieces[0], Visit(readings=(power_reading(1.5),), work=POLISH), now=hours(1))
    log_visit(pieces[1], contact(0.4), now=hours(2))
    made, page = report(pieces, Tolerance(2.0, wavelength_nm=WAVE))
    assert (made.verdict, made.sessions, made.problems) == ("inside", 2, ())
    assert page.all("h1")[0].text == "<convex> 1 and concave 1"
    first, second = page.all("h2")[:2]
    assert (first.text, second.text) == ("The pair matches", "The evidence")
    banner = page.all("section")[0].text
    assert "R concave − R convex = +" in banner
    assert "Next step: stop" in banner
    alts = [one.attributes["alt"] for one in certificate(page).all("img")]
    assert [alt.split(" with")[0] for alt in alts] == ["The photograph rings 0.4.png"]
    facts = next(p for p in page.all("p") if p.attributes.get("class") == "facts").text
    for fact in ("⌀ 150 mm", "λ = 589.29 nm", "read 2026-03-14"):
        assert fact in facts


def test_it_holds_radii_evidence_and_digests(pieces, contact):
    """Both radii, each piece of evidence and every session's digest stand in tables."""
    log_visit(pieces[0], Visit(readings=(power_reading(1.5),)), now=hours(1))
    log_visit(pieces[1], contact(0.4), now=hours(2))
    _, page = report(pieces)
    labels = [
        one.attributes["aria-label"]
        for one in page.all("div")
        if one.attributes.get("role") == "region"
    ]
    assert sorted(set(labels)) == sorted(labels)  # who hears them can tell them apart
    assert [row[0] for row in rows(page, "Both radii")] == [
        "<convex> 1",
        "concave 1",
        "concave less convex",
        "laid together",
    ]
    names = {row[0] for row in rows(page, "Each piece of evidence")}
    assert {"certificate of P8", "concave 1 on <convex> 1, 2026-03-14"} <= names
    sessions = rows(page, "Sessions in the archive")
    assert [row[0] for row in sessions] == ["<convex> 1, visit 1", "concave 1, visit 1"]
    assert all(len(row[2]) == 64 for row in sessions)
    assert "Not judged" in page.all("section")[0].text


def test_the_last_contact_of_the_two_is_shown(pieces, contact):
    """Of contacts with each other the last is shown, from whichever piece it was logged with."""
    log_visit(pieces[1], contact(0.4), now=hours(1))
    log_visit(pieces[0], contact(0.5, "concave 1", ("dust near the rim",)), now=hours(2))
    log_visit(pieces[0], contact(1.5), now=hours(3))
    _, page = report(pieces)
    alts = [one.attributes["alt"] for one in certificate(page).all("img")]
    assert [alt.split(" with")[0] for alt in alts] == ["The photograph rings 0.5.png"]
    warnings = next(u for u in page.all("ul") if u.attributes.get("class") == "warnings")
    assert "dust near the rim" in warnings.text


def test_without_contact_it_says_so(tmp_path):
    """Two that were only laid on plates get a page that says how their contact is logged."""
    pieces = [
        add_surface(
            tmp_path / "shop",
            Surface(
                f"{form} 1",
                form,
                3048.0,
                150.0,
                plate=Plate(f"P {form}", 3048.0, 0.2),
            ),
        )
        for form in ("convex", "concave")
    ]
    for piece in pieces:
        log_visit(piece, Visit(readings=(power_reading(0.5),)), now=hours(1))
    _, page = report(pieces)
    assert "have not been laid on each other" in certificate(page).text
    assert not certificate(page).all("img")


def test_a_damaged_session_is_named(pieces, contact):
    """A session that is not as it was written is named on the page and left out."""
    log_visit(pieces[1], contact(0.4), now=hours(1))
    path = log_visit(pieces[1], contact(0.5), now=hours(2))
    path.write_bytes(path.read_bytes()[:-40])
    made, page = report(pieces)
    assert made.sessions == 1
    assert any(path.name in one for one in made.problems)
    assert path.name in part(page, "evidence").text

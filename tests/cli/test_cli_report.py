"""`fringe report` as a person and a program call it."""

from __future__ import annotations

import pytest

from calling import call, refused
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Plate, Surface, add_surface
from fringe.archive.store.write import log_visit
from fringe.judge.tolerance.verdict import Tolerance
from sample_visits import FRINGES_ALONE, full_surface, hours, power_reading
from webpage import Page


@pytest.fixture
def surface(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    surface = full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)
    log_visit(surface, Visit(readings=(power_reading(1.25),)), now=hours(1))
    return surface


def test_it_writes_a_page(surface, capsys, tmp_path):
    """Text says the verdict and where the page is; the page is about that surface."""
    answer = call(capsys, "report", "shop/concave 1", "--out", "page.html")
    assert (answer.status, answer.err) == (0, "")
    assert answer.out == "concave 1: inside, 1 visit; report in page.html\n"
    page = Page((tmp_path / "page.html").read_text(encoding="utf-8")).root
    assert page.all("h1")[0].text == "concave 1"


def test_json(surface, capsys):
    """JSON says the same."""
    answer = call(capsys, "report", "shop/concave 1", "--out", "page.html", "--json")
    assert answer.json == {
        "surface": "concave 1",
        "report": "page.html",
        "signature": None,
        "verdict": "inside",
        "visits": 1,
        "problems": [],
    }


def test_an_older_page_is_replaced_whole(surface, capsys, tmp_path):
    """A second report takes the place of the first one, and leaves no other file."""
    (tmp_path / "page.html").write_text("old")
    call(capsys, "report", "shop/concave 1", "--out", "page.html")
    assert "concave 1" in (tmp_path / "page.html").read_text(encoding="utf-8")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["page.html", "shop"]


def test_a_damaged_session_is_told(surface, capsys):
    """A session that cannot be proven is one line on standard error; the page is written."""
    path = log_visit(surface, Visit(readings=(power_reading(1.0),)), now=hours(2))
    path.write_bytes(path.read_bytes()[:-40])
    answer = call(capsys, "report", "shop/concave 1", "--out", "page.html")
    assert answer.status == 0
    assert answer.err.count("\n") == 1
    assert path.name in answer.err
    assert "1 visit;" in answer.out


@pytest.mark.parametrize(
    ("out", "says"),
    [
        ("page.docx", "must end in .html"),
        ("gone/page.html", "there is no folder"),
        ("folder.html", "is a folder"),
    ],
)
def test_a_page_that_cannot_be_written(surface, capsys, tmp_path, out, says):
    """A name that cannot be a page is refused before any work, and nothing is written."""
    (tmp_path / "folder.html").mkdir()
    assert says in refused(capsys, "report", "shop/concave 1", "--out", out)
    assert not (tmp_path / "page.docx").exists()


def test_without_a_browser_there_is_no_pdf(surface, capsys, tmp_path, monkeypatch):
    """Where nothing can print a PDF, one line says what to install, and no file is left."""
    monkeypatch.setenv("PATH", "")
    said = refused(capsys, "report", "shop/concave 1", "--out", "page.pdf")
    assert "install Chromium" in said
    assert sorted(path.name for path in tmp_path.iterdir()) == ["shop"]


def test_an_unknown_surface(surface, capsys, tmp_path):
    """A surface that is not there is refused by its name, and no page is written."""
    assert "concave 1" in refused(capsys, "report", "shop/convex 9", "--out", "page.html")
    assert not (tmp_path / "page.html").exists()


def pair_of_two(shop):
    """A convex that the concave of the archive has as its plate, and their contact on record."""
    convex = Surface("convex 1", "convex", 3048.0, 150.0)
    add_surface(shop, convex)
    concave = Surface(
        "concave 2",
        "concave",
        3048.0,
        150.0,
        plate=Plate("convex 1"),
        tolerance=Tolerance(2.0, wavelength_nm=589.29),
    )
    log_visit(add_surface(shop, concave), Visit(readings=(power_reading(0.4),)), now=hours(1))


def test_a_pair(tmp_path, monkeypatch, capsys):
    """Two surfaces, in either order, are a pair; the record of the one made on the other judges."""
    monkeypatch.chdir(tmp_path)
    pair_of_two(tmp_path / "shop")
    for two in (("shop/convex 1", "shop/concave 2"), ("shop/concave 2", "shop/convex 1")):
        answer = call(capsys, "report", *two, "--out", "page.html")
        assert answer.out == "convex 1 and concave 2: inside, 1 visit; report in page.html\n"
    answer = call(capsys, "report", *two, "--tolerance-power", "0.1", "--out", "page.html")
    assert answer.out.startswith("convex 1 and concave 2: outside, 1 visit;")
    page = Page((tmp_path / "page.html").read_text(encoding="utf-8")).root
    assert page.all("h2")[0].text == "The pair does not match"


def test_options_of_a_pair_need_one(surface, capsys):
    """A tolerance of the match without a partner is refused in a line that says why."""
    error = refused(
        capsys, "report", "shop/concave 1", "--tolerance-power", "1", "--out", "page.html"
    )
    assert "--tolerance-power is of a pair; name both its surfaces" in error

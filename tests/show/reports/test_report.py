from __future__ import annotations

import base64
import io
import math

import pytest
from PIL import Image

from fringe.errors import BadInput
from fringe.judge.tolerance.verdict import Tolerance, surface_verdict
from fringe.judge.uncertainty.budget import independent_budget
from fringe.judge.uncertainty.model import Input
from fringe.judge.uncertainty.sources import Bench, measured_of
from fringe.show.figures.overlay import overlay_figure
from fringe.show.figures.progress import progress_figure
from fringe.show.reports.report import ReportFigure, report_html
from webpage import Page

RECORD = {
    "name": "Convex no. 2",
    "form": "convex",
    "radius_mm": 3048.0,
    "radius_u_mm": 0.5,
    "diameter_mm": 150.0,
    "plate": {"name": "plate 7", "radius_mm": 3048.6, "radius_u_mm": 0.2},
    "tolerance": {"power_fringes": 1.0, "wavelength_nm": 546.07, "rule": "guard95"},
    "lamp": "mercury-green",
    "version": 2,
}


@pytest.fixture(scope="module")
def inputs(made_reading, made_photo, made_visits):
    reading = made_reading(0.6, tilt=(3.0, 1.0), u95=0.08, warnings=("dust near the rim",))
    rows = made_visits()
    verdict = surface_verdict(measured_of(reading, Bench()), Tolerance(power_fringes=1.0))
    latest = {
        "reading": reading.to_json(),
        "verdict": verdict.to_json(),
        "next_step": "stop: the surface is proven inside its tolerance",
        "when": "2026-10-07T10:00:00+00:00",
        "by": "the second shift",
        "session_id": rows[-1].session_id,
        "lamp": {"name": "mercury-green", "source": "a lamp table"},
        "photographs": [
            {"file_name": "rings.jpg", "sha256": "3f" * 32},
            {"file_name": "dim.tif", "sha256": "9a" * 32, "refusal": "no fringes to be seen"},
        ],
        "software": {"fringe": "0.1.0"},
        "content_sha256": "c0" * 32,
        "visit": 7,
        "struck": ["1 visit struck out: visit 4 (blurred)."],
        "history": "5d" * 32,
    }
    figures = {
        "overlay": ReportFigure.of(overlay_figure(made_photo(reading), reading), "the fit", "Fit"),
        "progress": ReportFigure.of(progress_figure(rows, "A", 1.0), "the visits"),
    }
    return rows, latest, figures


@pytest.fixture(scope="module")
def html(inputs):
    rows, latest, figures = inputs
    digests = {row.session_id: f"{k:064x}" for k, row in enumerate(rows)}
    parts = [Input("edge", 0.0, 0.035), Input("fit", 0.0, 0.012)]
    budget = independent_budget("power", "fringes", lambda x: x["edge"] + x["fit"] + 0.6, parts)
    return report_html(
        RECORD, rows, latest, figures, budgets=[budget], digests=digests, made_at="2026-11-25"
    )


@pytest.fixture(scope="module")
def page(html):
    return Page(html)


def test_the_page_stands_by_itself(inputs):
    """No script, style sheet, font or picture is loaded from outside, and none may be."""
    html = report_html(RECORD, *inputs)
    page = Page(html).root
    assert not page.all("script") + page.all("link") + page.all("iframe")
    assert "url(" not in html
    assert "@import" not in html
    assert "http:" not in html
    assert "https:" not in html
    for one in page.all("img"):
        assert one.attributes["src"].startswith("data:image/png;base64,")
    for one in page.all("a"):
        assert one.attributes["href"].startswith("#")
    policy = [m.attributes["content"] for m in page.all("meta") if "http-equiv" in m.attributes]
    assert policy[0].startswith("default-src 'none'; img-src data:;")


def test_pictures_are_whole_and_described(inputs, page):
    """Every picture has its bytes, its size and words for those who cannot see it."""
    _, _, figures = inputs
    images = page.root.all("img")
    assert len(images) == 2
    for image, figure in zip(images, figures.values(), strict=True):
        data = base64.b64decode(image.attributes["src"].partition(",")[2])
        assert data == figure.png
        size = Image.open(io.BytesIO(data)).size
        assert (image.attributes["width"], image.attributes["height"]) == tuple(map(str, size))
        assert image.attributes["alt"] == figure.alt


def test_order_of_the_page(page):
    """First the certificate under its verdict, then tables, history and evidence."""
    (main,) = page.root.all("main")
    heads = [head.text for head in main.all("h2")]
    assert heads == [
        "Proven inside the tolerance",
        "The reading",
        "Where the uncertainty comes from",
        "History",
        "The surface",
        "Evidence",
    ]
    assert [head.text for head in page.root.all("h1")] == ["Convex no. 2"]
    assert not page.root.all("h3")  # no level is skipped or needed


def test_language_title_and_landmarks(page):
    """The page says its language and title, and has one header, main, navigation and footer."""
    (html,) = page.root.all("html")
    assert html.attributes["lang"] == "en"
    assert page.root.all("title")[0].text == "Convex no. 2: report"
    for tag in ("header", "main", "nav", "footer"):
        assert len(page.root.all(tag)) == 1


def test_keyboard_reaches_everything(page):
    """The first link skips to the verdict, links lead somewhere, and what scrolls takes focus."""
    identities = [
        one.attributes["id"]
        for tag in ("section", "h2")
        for one in page.root.all(tag)
        if "id" in one.attributes
    ]
    assert len(set(identities)) == len(identities)
    links = page.root.all("a")
    assert links[0].attributes == {"class": "skip", "href": "#verdict"}
    assert {one.attributes["href"].removeprefix("#") for one in links} <= set(identities)
    for one in page.root.all("section"):
        assert one.attributes["aria-labelledby"] in identities
    regions = [
        one
        for one in page.root.all("div")
        if "scroll" in (one.attributes.get("class") or "").split()
    ]
    assert len(regions) == len(page.root.all("table"))
    for one in regions:
        assert one.attributes["tabindex"] == "0"
        assert one.attributes["role"] == "region"
        assert one.attributes["aria-label"]


def test_tables_have_captions_and_scoped_heads(page):
    """Every table has a caption, a head for each column and one for each row."""
    tables = page.root.all("table")
    assert len(tables) >= 6
    for table in tables:
        assert len(table.all("caption")) == 1
        columns = table.all("thead")[0].all("th")
        assert {one.attributes["scope"] for one in columns} == {"col"}
        for row in table.all("tbody")[0].all("tr"):
            assert row.children[0].tag == "th"
            assert row.children[0].attributes["scope"] == "row"
            assert len(row.children) == len(columns)


def cells(page, caption):
    (table,) = [t for t in page.root.all("table") if caption in t.all("caption")[0].text]
    return [[cell.text for cell in row.children] for row in table.all("tr")]


def test_verdict_is_said_with_its_numbers(page):
    """The banner says what is proven, the probability, the power with its limits, and the step."""
    banner = page.root.all("section")[0].text
    for wanted in (
        "Proven inside the tolerance",
        "power +0.60 ± 0.08 fringes is proven inside ±1 fringes",
        "> 99.9 %",
        "Power: +0.60 ± 0.08 fringes (95 %) at λ = 546.07 nm over 150 mm",
        "Contact at the centre",
        "Next step: stop: the surface is proven inside its tolerance",
    ):
        assert wanted.lower() in banner.lower()
    assert "dust near the rim" in page.root.all("ul")[1].text


def test_uncertainty_adds_up(page):
    """Inputs are listed once, largest first, and combine to 0.037 (root sum of squares)."""
    table = cells(page, "Power +0.60")
    assert [row[:2] + row[3:] for row in table[1:3]] == [
        ["edge", "89 %", "0.035"],
        ["fit", "11 %", "0.012"],
    ]
    half_widths = [float(row[2]) for row in table[1:4]]
    assert math.hypot(*half_widths[:2]) == pytest.approx(half_widths[2], abs=0.002)
    assert table[3] == ["together", "", "0.073", "0.037"]
    widths = [one.attributes["style"] for one in page.root.all("i")]
    assert widths == ["width:89.5%", "width:10.5%"]


def test_the_certificate_is_whole(page):
    """It holds photograph, numbers, limits with their rule, visit, history and what is struck."""
    (certificate,) = [one for one in page.root.all("div") if is_certificate(one)]
    assert len(certificate.all("img")) == 1
    captions = [one.text for one in certificate.all("caption")]
    assert captions == [
        "Measured, ± at 95 %; one fringe is 273.04 nm",
        "Each limit and what is proven of it",
    ]
    assert ["Power", "+0.60 ± 0.08 fringes"] in cells(page, "Measured")
    assert cells(page, "Each limit")[1][:3] == ["power", "±1 fringe", "inside"]
    assert "Rule guard95" in certificate.text
    spoken = [one.text for one in certificate.all("dd")]
    assert spoken[0] == "7, 2026-10-07 10:00, by the second shift"
    assert spoken[-2:] == ["c0" * 32, "5d" * 32]
    assert "1 visit struck out: visit 4 (blurred)." in certificate.text


def is_certificate(element):
    return element.attributes.get("class") == "certificate"


def test_sheets_are_numbered_under_the_name(inputs, html):
    """A print's running title is the surface's name, which cannot end the style sheet's text."""
    assert 'content: "Convex\\20 no\\2e \\20 2\\3a \\20 report' in html
    assert "counter(page)" in html
    rows, latest, figures = inputs
    bad = '";}</style><b>'
    odd = report_html(RECORD | {"name": bad}, rows, latest, figures)
    assert "</style><b>" not in odd
    assert odd.count("</style>") == 1


def test_history_and_evidence_are_whole(inputs, page):
    """Every visit is a row, with its session and digest; every photograph has its digest."""
    rows, latest, _ = inputs
    history = cells(page, "All visits")
    assert len(history) == 1 + len(rows)
    assert history[-1][0] == "7"
    assert "+0.60 ± 0.08" in history[-1]
    assert "22.0 ± 2.0, sign unknown" in history[4]
    sessions = cells(page, "Sessions in the archive")
    assert [row[1] for row in sessions[1:]] == [row.session_id for row in rows]
    assert sessions[3][2] == f"{2:064x}"
    photographs = cells(page, "Photographs")
    assert photographs[1] == ["rings.jpg", "3f" * 32, "read"]
    assert photographs[2] == ["dim.tif", "9a" * 32, "not read: no fringes to be seen"]
    assert latest["content_sha256"] in cells(page, "The latest visit")[-1]


@pytest.mark.parametrize(
    ("state", "words"),
    [("outside", "Proven outside"), ("unproven", "Neither proven"), (None, "Not judged")],
)
def test_other_verdicts(inputs, state, words):
    """Each verdict has its own words and shape, and no verdict is made up where there is none."""
    rows, latest, figures = inputs
    verdict = state and {"state": state, "probability": 0.4, "reason": "so", "rule": "simple"}
    page = Page(report_html(RECORD, rows, latest | {"verdict": verdict}, figures)).root
    banner = page.all("section")[0]
    assert words in banner.text
    shapes = {"outside": "rect", "unproven": "path", None: "path"}
    assert len(banner.all(shapes[state])) == 1
    assert ("Probability" in banner.text) == (state is not None)


def test_text_is_escaped(inputs):
    """Names, remarks and warnings are text, never markup."""
    rows, latest, figures = inputs
    bad = "<script>alert(1)</script>&\"'"
    reading = latest["reading"] | {"quality": {"warnings": [bad]}}
    html = report_html(
        RECORD | {"name": bad, "note": bad},
        rows,
        latest | {"reading": reading, "remarks": bad},
        {"overlay": ReportFigure(figures["overlay"].png, bad, bad)},
    )
    page = Page(html).root
    assert not page.all("script")
    assert page.all("h1")[0].text == bad
    assert page.all("img")[0].attributes["alt"] == bad
    assert page.all("ul")[1].text == f"Warning. {bad}"


def test_little_is_enough(page):
    """A surface without visits, reading or figures has a report that says so."""
    page = Page(report_html({"name": "Blank"}, [], {}, {})).root
    text = page.text
    assert "Not judged" in text
    assert "The surface has no tolerance to judge by." in text
    assert "The latest visit holds no reading." in text
    assert "No visit has been logged yet." in text
    assert "None" not in text
    assert "nan" not in text


def test_rings_without_an_edge(made_rings):
    """A reading without an edge is reported by its ring step."""
    latest = {"reading": made_rings().to_json()}
    text = Page(report_html({"name": "Field"}, [], latest, {})).root.text
    assert "Ring step: 3700 ± 60 px² a ring (95 %) at λ = 589.3 nm" in text
    assert "Power" not in text.replace("Power is the sagitta error", "")


def test_a_nameless_surface_is_refused():
    """A record without a name is refused with one line."""
    with pytest.raises(BadInput, match="name"):
        report_html({}, [], {}, {})


def test_light_dark_and_paper_are_provided_for(inputs):
    """The page has colours for light and dark, and its own rules for paper."""
    html = report_html(RECORD, *inputs)
    assert "prefers-color-scheme: dark" in html
    assert "@media print" in html
    assert "@page" in html
    assert '<meta name="color-scheme" content="light dark">' in html

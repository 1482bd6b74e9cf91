"""Readings and photographs made up for figures, and checks of what a figure shows."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from datetime import datetime
from itertools import combinations
from typing import Any
from unittest import mock

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from fringe.judge.state.visits import VisitRow
from fringe.optics.form import form_quantities
from fringe.optics.zernike import zernike, zernike_terms
from fringe.orders.reading import FormFit, Quality, Reading, RingFit
from fringe.photo.ellipse import Edge

TERMS = zernike_terms(4)


def _made_reading(
    power: float = 4.0,
    *,
    tilt: tuple[float, float] = (0.0, 0.0),
    edge: Edge | None = None,
    sense: str = "centre",
    extra: dict[tuple[int, int], float] | None = None,
    u95: float | None = 0.05,
    warnings: tuple[str, ...] = (),
    **fields: Any,
) -> Reading:
    wanted = {(0, 0): power / 2, (2, 0): power / 2, (1, 1): tilt[0], (1, -1): tilt[1]}
    wanted |= extra or {}
    values = np.array([wanted.get(term, 0.0) for term in TERMS])
    found = form_quantities(TERMS, values)
    known = {
        "wavelength_nm": 546.07,
        "quality": Quality(0.7, 0.93, 0.11, warnings),
        "power_fringes": power if sense != "unknown" else abs(power),
        "power_u95_fringes": u95,
        "sense": sense,
        "sense_source": None if sense == "unknown" else "given",
        "tilt_fringes": found.tilt,
        "astigmatism_fringes": found.astigmatism_pv,
        "irregularity_fringes": found.irregularity_pv,
        "symmetric_irregularity_fringes": found.symmetric_irregularity_pv,
        "rms_irregularity_fringes": found.rms_irregularity,
        "iso10110": f"3/ {abs(power):.1f}(0.30/0.10); λ = 546.1 nm",
        "rings": int(abs(power)),
        "edge": edge or Edge(200.0, 160.0, 130.0, 130.0, u_px=0.3),
        "edge_source": "auto",
        "form": FormFit(TERMS, values, np.eye(len(TERMS)) * ((u95 or 0.05) / 4) ** 2),
        "radius_difference_mm": -0.0123,
        "radius_difference_u95_mm": 0.0002,
    }
    return Reading(**(known | fields))


def _made_photo(reading: Reading, height: int = 320, width: int = 400) -> np.ndarray:
    """Render the reading's own dark fringes, plainly: cosine fringes on a dim ground."""
    y, x = np.mgrid[:height, :width].astype(float)
    edge, form = reading.edge, reading.form
    assert edge is not None
    assert form is not None
    u, v = edge.unit(x, y)
    order = edge.cos_view * sum(
        c * zernike(n, m, u, v) for (n, m), c in zip(form.terms, form.values, strict=True) if c
    )
    light = np.where(u * u + v * v <= 1.0, 0.5 - 0.4 * np.cos(2 * np.pi * order), 0.1)
    return (255 * light).astype(np.uint8)


def _made_rings() -> Reading:
    orders = np.arange(1.0, 25.0)
    radii = np.sqrt(2600.0 + 3700.0 * orders)
    fit = RingFit(242.0, 344.0, 3700.0, 60.0, 2600.0, orders, radii)
    quality = Quality(0.3, 0.7, 0.3)
    return Reading(
        589.3, quality, rings=24, ring_step_px2=3700.0, ring_step_u95_px2=60.0, ring_fit=fit
    )


def _drawn_texts(figure: Figure) -> list[tuple[Text, Bbox]]:
    """Return every text that a draw really puts on the canvas, with its box [px]."""
    drawn: list[Text] = []
    draw = Text.draw

    def record(self: Text, renderer: Any, *args: Any, **kwargs: Any) -> None:
        if self.get_visible() and self.get_text().strip():
            drawn.append(self)
        draw(self, renderer, *args, **kwargs)

    with mock.patch.object(Text, "draw", record):
        figure.canvas.draw()
    boxes = {id(text): (text, text.get_window_extent()) for text in drawn}
    return list(boxes.values())


def _assert_clean(figure: Figure) -> list[str]:
    """Assert that no text overlaps another, a picture that is not its own, or the border."""
    texts = _drawn_texts(figure)
    assert texts
    page = figure.bbox
    for text, box in texts:
        inside = box.x0 >= 0 and box.y0 >= 0 and box.x1 <= page.x1 and box.y1 <= page.y1
        assert inside, f"{text.get_text()!r} is cut off: {box} in {page}"
        assert text.get_fontsize() >= 7, f"{text.get_text()!r} is too small to read"
    for (one, a), (two, b) in combinations(texts, 2):
        assert not _overlap(a, b), f"{one.get_text()!r} lies on {two.get_text()!r}"
    for axes in figure.axes:
        frame = axes.get_window_extent()
        for text, box in texts:
            if text.axes is None:
                assert not _overlap(box, frame), f"{text.get_text()!r} lies on a picture"
    return [text.get_text() for text, _ in texts]


def _overlap(a: Bbox, b: Bbox, slack: float = 1.0) -> bool:
    across = min(a.x1, b.x1) - max(a.x0, b.x0)
    down = min(a.y1, b.y1) - max(a.y0, b.y0)
    return across > slack and down > slack


def _visit(when: str = "2026-10-01", **values: Any) -> VisitRow:
    """Make a row of progress; what is not given was not measured."""
    fields = {
        one.name: None if one.default is dataclasses.MISSING else one.default
        for one in dataclasses.fields(VisitRow)
    }
    known = {"hours_total": 0.0, "sense": "centre", "session_id": "0001"}
    known["when"] = datetime.fromisoformat(f"{when}T10:00:00+00:00")
    return VisitRow(**(fields | known | values))


def _made_visits() -> list[VisitRow]:
    """A convex from coarse grit to its tolerance of one fringe."""
    stages = ["grind F120"] * 2 + ["grind F220"] + ["polish"] * 4
    power = [None, -310.0, -60.0, 22.0, 5.1, 1.9, 0.6]
    u95 = [None, 40.0, 6.0, 2.0, 0.15, 0.1, 0.08]
    irregularity = [None, None, None, 2.1, 0.8, 0.3, 0.25]
    verdicts = [None, "outside", "outside", "outside", "outside", "outside", "inside"]
    senses = ["unknown", "edge", "edge", "unknown", "centre", "centre", "centre"]
    return [
        _visit(
            f"2026-10-{k + 1:02d}",
            visit=k + 1,
            hours_total=1.5 * (k + 1),
            stage=stages[k],
            minutes=90.0,
            power_fringes=power[k],
            power_u95_fringes=u95[k],
            irregularity_fringes=irregularity[k],
            sense=senses[k],
            verdict=verdicts[k],
            probability=None if verdicts[k] is None else 0.9997 if k == 6 else 0.0001,
            next_step="stop" if k == 6 else "polish",
            session_id=f"{k + 1:04d}_20261001T100000Z",
        )
        for k in range(7)
    ]


@pytest.fixture(scope="session")
def made_reading() -> Callable[..., Reading]:
    return _made_reading


@pytest.fixture(scope="session")
def made_photo() -> Callable[..., np.ndarray]:
    return _made_photo


@pytest.fixture(scope="session")
def made_rings() -> Callable[[], Reading]:
    return _made_rings


@pytest.fixture(scope="session")
def made_visits() -> Callable[[], list[VisitRow]]:
    return _made_visits


@pytest.fixture(scope="session")
def visit() -> Callable[..., VisitRow]:
    return _visit


@pytest.fixture(scope="session")
def assert_clean() -> Callable[[Figure], list[str]]:
    return _assert_clean


@pytest.fixture(autouse=True)
def settings_stay() -> Iterator[None]:
    """Every figure leaves matplotlib's global settings as they were."""
    import matplotlib as mpl

    before = dict(mpl.rcParams.copy())
    yield
    assert dict(mpl.rcParams.copy()) == before

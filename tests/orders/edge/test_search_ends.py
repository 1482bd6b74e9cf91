"""The search for an edge ends as soon as the lines turn out to be no fringes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from fringe.errors import Refused
from fringe.optics.lamps import lamp
from fringe.orders.edge import circles, find
from fringe.orders.fit import best_start
from fringe.orders.fit.model import OrderModel
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_array
from fringe.synth import Form, Scene, distractor, render

MOST_FITS = 2  # of circles in which fringes are sought; there are up to eight
X, Y = np.meshgrid(np.arange(420) - 205.0, np.arange(380) - 190.0)
FAR, TURN = np.hypot(X, Y) / 150, np.arctan2(Y, X) / (2 * np.pi)
PICTURES = {
    "stripes": 0.5 + 0.4 * np.cos(2 * np.pi * (X / 31 + 0.2 * np.sin(Y / 90))),
    "marks": np.where(FAR < 1, 0.5 + 0.4 * np.cos(2 * np.pi * 12 * FAR), 0.1),
    "spiral": np.where(FAR < 1, 0.5 + 0.4 * np.cos(2 * np.pi * (8 * FAR**2 + TURN)), 0.1),
}


def refusal_and_fits(image: Any, monkeypatch: pytest.MonkeyPatch) -> tuple[str, int]:
    """The line that refuses a picture, and the circles that were fitted before."""
    fitted = []

    def counted(fit: Callable[..., Any]) -> Callable[..., Any]:
        def fitting(*args: Any) -> Any:
            fitted.append(args)
            return fit(*args)

        return fitting

    for name in ("middle_fit", "middle_fits"):
        monkeypatch.setattr(circles, name, counted(getattr(circles, name)))
    with pytest.raises(Refused) as refusal:
        read(photo_from_array(image, "picture"), ReadOptions(lamp("sodium")))
    return str(refusal.value), len(fitted)


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("stripes", "the work's edge was not found"),
        ("marks", "the rings have one spacing"),
        ("spiral", "the lines are a spiral of one arm"),
    ],
)
def test_lines_that_are_no_fringes(
    name: str, told: str, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stripes that fill the frame, marks and a spiral: told after a circle or two."""
    image = 200 * PICTURES[name] + rng.normal(0, 2, X.shape)
    line, fits = refusal_and_fits(image.clip(0, 255).astype(np.uint8), monkeypatch)
    assert told in line
    assert fits <= MOST_FITS


def test_marks_end_it_at_the_first_circle(
    rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Decentred rings of one spacing: told by the first fit, before an edge is placed."""

    def placed(*_: Any) -> None:
        raise AssertionError("an edge was placed about rings of one spacing")

    monkeypatch.setattr(find, "_best_position", placed)
    off = np.hypot(X - 40, Y + 30) / 150
    image = 200 * np.where(FAR < 1, 0.5 + 0.3 * np.cos(2 * np.pi * 6 * off), 0.1)
    noisy = image + rng.normal(0, 2, X.shape)
    line, fits = refusal_and_fits(noisy.clip(0, 255).astype(np.uint8), monkeypatch)
    assert "the rings have one spacing" in line
    assert fits == 1


def test_a_matched_contact(rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch) -> None:
    """Less than one fringe on all that is bright: told after a circle or two."""
    scene = Scene(420, 380, form=Form(power=0.15, tilt=0.2), seed=int(rng.integers(2**31)))
    line, fits = refusal_and_fits(render(scene, rng).image, monkeypatch)
    assert "less than one fringe shows" in line
    assert fits <= MOST_FITS


def test_a_smooth_picture(rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch) -> None:
    """A face, which few fringes can mimic in each of many circles: told after three."""
    line, fits = refusal_and_fits(distractor("face", rng, (360, 300)), monkeypatch)
    assert "the work's edge was not found" in line
    assert fits <= MOST_FITS + 1


def test_places_that_take_turns_end_at_the_best(monkeypatch: pytest.MonkeyPatch) -> None:
    """About a turned rim places may take turns: the search ends, with what the best one gained."""
    curve, far = Edge(100.0, 100.0, 90.0, 90.0), Edge(100.0, 100.0, 95.0, 95.0)
    model = OrderModel([(0, 0)], np.zeros(1))
    placed = [
        find.EdgeCandidate(gain, edge, model)
        for edge, gain in [(far, 1.3), (curve, -1.0), (far, 1.1), (curve, -1.0)]
    ]
    asked = iter(placed)
    monkeypatch.setattr(find, "_best_position", lambda *_: next(asked))
    photo = photo_from_array(np.ones((200, 200)), "picture")
    last = list(find._iterated(photo, curve, model))[-1]
    assert last == placed[0]
    assert len(list(asked)) == 1


def test_noise_is_not_fitted(rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch) -> None:
    """Noise, of which no shape of few fringes explains a part: no fit of such a shape is tried."""
    tried = []
    fit = best_start._screening_fit

    def counted(field: Any, model: OrderModel) -> Any:
        tried.append(len(model.terms))
        return fit(field, model)

    monkeypatch.setattr(best_start, "_screening_fit", counted)
    refusal_and_fits(distractor("noise", rng, (360, 300)), monkeypatch)
    assert len(tried) <= MOST_FITS + 1  # those from local frequencies, one a circle

"""A bench whose reader does nothing until a test tells it to, and small photographs."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from bench_page import SIZES, Page, served
from PIL import Image

from browser import opened_browser
from fringe.bench.desk import Desk
from fringe.bench.worker import Job, Result
from fringe.photo.ellipse import Edge
from sample_visits import FRINGES_ALONE, full_surface, power_reading


class HandReader:
    """A reader that is worked by hand: readings start and end when a test says so."""

    def __init__(self) -> None:
        self.orders: list[tuple[Job, Callable[[], None], Callable[[Result], None]]] = []
        self.given_up: list[int] = []
        self.closed = False

    def submit(self, job, started, done):
        number = len(self.orders)
        self.orders.append((job, started, done))
        return lambda: self.given_up.append(number)

    def start(self, number=-1):
        """Begin a reading; return its job."""
        job, started, _ = self.orders[number]
        started()
        return job

    def finish(self, result, number=-1):
        """End a reading with a result."""
        self.orders[number][2](result)

    def close(self):
        self.closed = True


def png_bytes(pixels) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "PNG")
    return buffer.getvalue()


@pytest.fixture
def picture(rng):
    """Makes photographs of noise, each another one."""

    def make(size=64, kind="PNG"):
        buffer = io.BytesIO()
        noise = rng.integers(0, 255, (size, size, 3), np.uint8)
        Image.fromarray(noise).save(buffer, kind)
        return buffer.getvalue()

    return make


@pytest.fixture
def surface(tmp_path):
    return full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)


@pytest.fixture
def reader():
    return HandReader()


@pytest.fixture
def desk(surface, reader, tmp_path):
    return Desk(tmp_path / "shop", reader)


@pytest.fixture
def made_fit():
    """A reading with a form over an edge of a photograph of 400 pixels."""
    edge = Edge(200.0, 200.0, 170.0, 170.0, u_px=0.3)
    return replace(power_reading(1.5).reading, edge=edge, edge_source="found")


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    with opened_browser(tmp_path_factory.mktemp("profile")) as browser:
        yield browser


@pytest.fixture
def phone(browser):
    return Page(browser, "phone")


@pytest.fixture(params=SIZES)
def page(request, browser):
    return Page(browser, request.param)


@pytest.fixture
def bench(surface, reader, tmp_path):
    """A bench whose readings take as long as the test wants."""
    with served(tmp_path / "shop", reader=reader) as server:
        yield server


@pytest.fixture
def photo(tmp_path, picture):
    path = tmp_path / "rings.png"
    path.write_bytes(picture(400))
    return path

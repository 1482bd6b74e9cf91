"""Fixtures that all tests share: random numbers with a printed seed, and a real photograph."""

from __future__ import annotations

import gc
import os
import secrets
import sys
import zlib
from collections.abc import Generator, Iterable, Iterator
from pathlib import Path

# Two workers share the cores; threads inside the linear algebra would only fight over them.
# It must be said before numpy is loaded.
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(name, "1")

# Some machines tell Python to keep no compiled modules. Tests start hundreds of processes, and each
# would compile the whole program first, which takes longer than most of what they are to do.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# The modules of a run are some million objects that live to its end: to look through them for
# cyclic garbage as often as Python does by itself took an eighth of all the time.
gc.set_threshold(20_000, 20, 20)

import hypothesis  # noqa: E402
import numpy as np  # noqa: E402
import pytest  # noqa: E402

from known_fits import kept_fits  # noqa: E402

SEED_VARIABLE = "FRINGE_TEST_SEED"
# The date when it was first drawn, chosen for nothing else: what fails with another seed is a
# finding, and changing this number mends nothing.
FIXED_SEED = 20261129

# A slow machine is no failure.
hypothesis.settings.register_profile("fringe", deadline=None)
hypothesis.settings.load_profile("fringe")


def pytest_configure(config: pytest.Config) -> None:
    """Settle the seed once a run, `random` for a fresh one; workers of the run inherit it."""
    asked = os.environ.get(SEED_VARIABLE, str(FIXED_SEED))
    os.environ[SEED_VARIABLE] = str(secrets.randbelow(2**32)) if asked == "random" else asked


# What takes longest begins first: two workers would else wait for one that began it last. The
# names are beginnings of those of tests, which tests/test_longest.py holds to be there.
LONGEST = (
    "tests/demo/",
    "tests/test_docs.py::test_documents_can_be_typed",
    "tests/orders/",
    "tests/archive/transfer/",
    "tests/cli/test_turning.py",
    "tests/bench/test_bench_browser.py",
)


class Backwards(pytest.Dir):
    """A folder of which what comes last is looked at first."""

    def collect(self) -> Iterable[pytest.Item | pytest.Collector]:
        """Return what is in it."""
        return reversed(list(super().collect()))


def pytest_collect_directory(path: Path, parent: pytest.Collector) -> pytest.Dir | None:
    """Let every other worker load the tests from the end.

    Each file is prepared by whichever comes to it first, and kept for the other: in a fresh
    checkout that takes longer than all else until the first test begins.
    """
    worker = os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw")
    return Backwards.from_parent(parent, path=path) if int(worker) % 2 else None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest tests first, and the others in the order of their files, for each worker."""
    places = {name: place for place, name in enumerate(LONGEST)}

    def place_of(item: pytest.Item) -> int:
        found = (place for name, place in places.items() if item.nodeid.startswith(name))
        return min(found, default=len(places))

    items.sort(key=lambda item: (place_of(item), item.path.parts))


def pytest_report_header(config: pytest.Config) -> str:
    """Say which seed the run has."""
    return f"random numbers: {SEED_VARIABLE}={os.environ[SEED_VARIABLE]}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Name the seed beside each failure of a test that drew random numbers."""
    report = yield
    if report.failed and "rng" in getattr(item, "fixturenames", ()):
        report.sections.append(("random numbers", f"{SEED_VARIABLE}={os.environ[SEED_VARIABLE]}"))
    return report


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_teardown(
    item: pytest.Item, nextitem: pytest.Item | None
) -> Generator[None, None, None]:
    """Between two files look for garbage, and never again at what is left."""
    yield
    if nextitem is None or nextitem.path != item.path:
        gc.collect()
        gc.freeze()


@pytest.fixture(autouse=True)
def _no_width(monkeypatch: pytest.MonkeyPatch) -> None:
    """Forget the width of whatever terminal or test runner this is; tests set their own."""
    monkeypatch.delenv("COLUMNS", raising=False)


@pytest.fixture
def rng(request: pytest.FixtureRequest) -> np.random.Generator:
    """Random numbers that differ from test to test, and come back with the printed seed."""
    test = zlib.crc32(request.node.nodeid.encode())
    return np.random.default_rng([int(os.environ[SEED_VARIABLE]), test])


@pytest.fixture(scope="module")
def known_fits(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Find edges and fits of a picture once a run, for files that do not test the reading."""
    with kept_fits(tmp_path_factory):
        yield


@pytest.fixture(scope="session")
def real_photo() -> Path:
    """Path of a real photograph of rings in sodium light, if it lies beside the checkout."""
    path = Path(__file__).parents[2] / "shared" / "real" / "rings-sodium.jpg"
    if not path.is_file():
        pytest.skip("no real photograph beside the checkout")
    return path

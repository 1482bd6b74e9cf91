"""Kill the commands that write something else than visits, and look at what is left.

    python tests/benchmarks/kill_others.py --kills 200

A process adds, changes, moves, exports and imports surfaces, logs and strikes visits of a plate,
keeps maps of it as a turning test does, and signs the history, without end, until SIGKILL takes
it. After each kill every session that was kept is in just one archive still, byte by byte; every
surface that was told of is in one of them under its name, and loads; each export, map, record and
signed history that was told of is whole. Every fifty kills both archives are checked.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import signal
import sys
import tempfile
import time
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from fringe.archive.instruments import add_instrument, list_instruments
from fringe.archive.plate_maps import read_version, withdraw_map
from fringe.archive.store.surface import (
    Surface,
    add_surface,
    change_surface,
    list_surfaces,
    load_surface,
)
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive, check_session
from fringe.archive.transfer.export import export_surface
from fringe.archive.transfer.imports import import_surface
from fringe.archive.transfer.move import move_surface
from fringe.archive.transfer.signing import sign_history, signed_history
from fringe.archive.views.plate_request import PlateRequest
from fringe.archive.views.plate_visit import log_plate_visit
from fringe.errors import BadInput
from fringe.orders.options import StatedOptions
from fringe.signatures import SigningKey
from sample_visits import full_surface, plain_visit

ROUND = 50
KEY = SigningKey(Ed25519PrivateKey.from_private_bytes(bytes(range(32))))
KINDS = ("add", "change", "move", "move", "export", "import", "plate", "map", "record", "sign")


def act_without_end(place: Path, seed: int, told: int) -> None:
    """Do one thing after another, and tell of each when it is done."""
    rng = np.random.default_rng(seed)
    for number in range(1_000_000):
        kind = str(rng.choice(KINDS))
        try:
            made = act(place, kind, rng, f"{seed}-{number}")
        except BadInput as error:  # the other archive has that surface already
            if "already" not in str(error):
                raise
            continue
        os.write(told, f"{kind} {made}\n".encode())


def act(place: Path, kind: str, rng: np.random.Generator, name: str) -> object:
    """Do one thing; what can be looked for afterwards."""
    shops = [place / "shop", place / "done"]
    here, there = (shops[i] for i in rng.permutation(2))
    if kind == "add":
        made = Surface(name, "convex", 500.0, 40.0)
        log_visit(add_surface(here, made), plain_visit())
        return name
    if kind == "plate":
        day = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=int(rng.integers(300)))
        said = PlateRequest(
            radius_mm=3048.0 + float(rng.normal(0, 0.1)),
            radius_u_mm=0.1,
            certified=f"{day:%Y-%m-%d}",
            plate_diameter_mm=160.0,
            yes=True,
        )
        return log_plate_visit(f"{place / 'shop'}/P", (), said, StatedOptions()).path
    if kind == "map":
        return withdraw_map(place / "shop", "P")
    if kind == "record":
        fields = {"form": "convex", "radius_mm": 100.0}
        return add_instrument(place / "shop", "plate", name, fields).path
    if kind == "sign":
        (place / name).mkdir()
        return sign_history(here, "0" * 64, KEY, place / name, datetime.now(UTC)).file
    found = list_surfaces(here)
    if not found:
        raise BadInput("every surface is in the other archive already")
    one = load_surface(found[int(rng.integers(len(found)))])
    if kind == "change":
        return change_surface(one, note=name).name
    if kind == "move":
        return move_surface(one, there).name
    if kind == "export":
        out = place / f"{name}.{rng.choice(['h5', 'csv'])}"
        export_surface(one, out)
        return out
    out = place / f"{name}.h5"
    export_surface(one, out)
    return import_surface(out, place / "copies").surface.folder


def killed_after(place: Path, rng: np.random.Generator, longest_s: float) -> list[tuple[str, str]]:
    """Start a process, kill it at some moment; what it had told of."""
    read, write = os.pipe()
    seed = int(rng.integers(1 << 30))
    child = os.fork()
    if child == 0:
        os.close(read)
        try:
            act_without_end(place, seed, write)
        except BaseException as error:  # nobody would see it otherwise
            os.write(write, f"failed {type(error).__name__}: {error}\n".encode())
        os._exit(1)
    os.close(write)
    time.sleep(float(rng.uniform(0, longest_s)))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(read, "rb") as pipe:
        lines = pipe.read().decode().splitlines()
    return [(kind, rest) for kind, _, rest in (line.partition(" ") for line in lines)]


def sessions(place: Path) -> Counter[tuple[str, str]]:
    """Name and digest of each session's file of both archives, and how often it is there."""
    paths = [path for shop in ("shop", "done") for path in (place / shop).glob("*/[0-9]*.h5")]
    return Counter((path.name, hashlib.sha256(path.read_bytes()).hexdigest()) for path in paths)


def look(place: Path, told: list[tuple[str, str]], before: Counter[tuple[str, str]]) -> None:
    """Hold what is there against what was told of."""
    names = Counter(
        load_surface(folder).name
        for shop in ("shop", "done")
        for folder in list_surfaces(place / shop)  # a move that was cut off is finished by this
    )
    now = sessions(place)
    assert not before - now, "a session is gone"
    assert max(now.values(), default=1) == 1, "a session is there twice"
    assert max(names.values(), default=1) == 1, "a surface is there twice"
    for kind, made in told:
        assert kind != "failed", made
        if kind in ("add", "change", "move"):
            assert names[made] == 1, (kind, made)
        elif kind == "plate":
            assert check_session(Path(made)) is None
        elif kind == "map":
            assert read_version(Path(made)) is None
        elif kind == "sign":
            assert signed_history(Path(made), KEY.public).digest == "0" * 64
        elif kind == "import":
            assert load_surface(Path(made)).name
        elif kind == "record":
            assert any(one.path == Path(made) for one in list_instruments(place / "shop", "plate"))
        elif made.endswith(".h5"):
            import_surface(Path(made), place / "proof")
        else:
            assert Path(made).read_text().startswith("session_id") or Path(made).stat().st_size


def one_round(place: Path, kills: int, rng: np.random.Generator, longest_s: float) -> Counter[str]:
    """Kill so often in two archives; return what was seen."""
    for shop, name in (("shop", "one"), ("done", "two")):
        log_visit(full_surface(place / shop, name), plain_visit())
    add_instrument(place / "shop", "plate", "P", {"form": "convex", "radius_mm": 3048.0})
    for kind in ("add", "plate", "map", "export", "import", "move", "sign"):
        act(place, kind, rng, kind)  # what they load is loaded in those that are killed
    seen: Counter[str] = Counter()
    before = sessions(place)
    for _ in range(kills):
        told = killed_after(place, rng, longest_s)
        look(place, told, before)
        before = sessions(place)
        seen["kills"] += 1
        seen += Counter(kind for kind, _ in told)
    for shop, other in (("shop", "done"), ("done", "shop")):
        found = check_archive(place / shop, elsewhere=[place / other])
        assert found.problems == found.unknown == (), (found.problems, found.unknown)
        seen["left half-written"] += len(found.leftovers)
    return seen


def main() -> None:
    """Kill, look, and say what was seen."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--longest", type=float, default=1.5, help="that a process gets [s]")
    parser.add_argument("--seed", type=int, default=int(time.time()))
    given = parser.parse_args()
    print(f"seed {given.seed}")
    rng = np.random.default_rng(given.seed)
    seen: Counter[str] = Counter()
    while seen["kills"] < given.kills:
        with tempfile.TemporaryDirectory() as place:
            seen += one_round(
                Path(place), min(ROUND, given.kills - seen["kills"]), rng, given.longest
            )
        print(", ".join(f"{count} {what}" for what, count in seen.items()), flush=True)
    print("nothing was lost")


if __name__ == "__main__":
    main()

"""Mutated input files of every kind that the program reads, and what becomes of them.

Each input follows from a seed, its kind and its number alone, so that a finding can be made
again. Inputs are tried in a process of limited memory and time, which may die of them.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
import zlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from fringe.archive.instruments import add_instrument, read_instrument
from fringe.archive.store.digest import SEAL_BYTES, seal
from fringe.archive.store.index import FOLDER, list_archive
from fringe.archive.store.order import survey
from fringe.archive.store.read import open_session, read_summary
from fringe.archive.store.surface import load_surface
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_session
from fringe.archive.transfer.export import export_surface
from fringe.archive.transfer.imports import import_surface
from fringe.archive.transfer.table import visits_from_table
from fringe.cli import main
from fringe.errors import FringeError
from fringe.photo.load import load_photo
from hostile_photos import CASES, colour, deep, jpeg, saved
from sample_visits import full_surface, full_visit, hours

MEMORY = 700_000_000  # beside what the program itself takes
SECONDS = 60  # of the processor's time, which does not depend on who else is at work
Rng = np.random.Generator


@dataclass(frozen=True)
class Kind:
    """A kind of input.

    Attributes
    ----------
    suffix : str
        Of the file's name.
    corpus : callable
        Makes the sound files that inputs are mutated from.
    attempt : callable
        Reads a file; foreseen refusals come out of it.
    mend : callable
        Gives a mutated file what it needs to be looked at beyond its digest.
    """

    suffix: str
    corpus: Callable[[], list[bytes]]
    attempt: Callable[[Path], object]
    mend: Callable[[bytes, Rng], bytes] = lambda data, rng: data


@cache
def photographs() -> list[bytes]:
    """One picture of each kind that can be read, and a few more ways to store them."""
    odd = [make() for make, words in CASES.values() if words is None]
    plain = [
        jpeg(),
        saved(colour(), "PNG"),
        saved(colour(), "TIFF"),
        deep(compression="zlib"),
        saved(colour(), "TIFF", compression="tiff_lzw"),
        deep(tile=(16, 16)),
        saved(colour(), "JPEG", progressive=True),
    ]
    return odd + plain


@cache
def shop() -> dict[str, bytes]:
    """Files of an archive: a session, its surface's record, an export, an instrument, an index."""
    with tempfile.TemporaryDirectory() as place:
        archive = Path(place) / "shop"
        surface = full_surface(archive)
        visit = full_visit(np.random.default_rng(5))
        path = log_visit(surface, visit, now=hours(0))
        out = export_surface(surface, Path(place) / "out.nc").path
        table = export_surface(surface, Path(place) / "out.csv").path
        values = {"form": "convex", "radius_mm": 3048.6, "u_radius_mm": 0.2, "note": "größer"}
        record = add_instrument(archive, "plate", "P7", values).path
        list_archive(archive, now_ns=1 << 62)
        (index,) = (archive / FOLDER).iterdir()
        assert surface.folder is not None
        assert record is not None
        return {
            "name": path.name.encode(),
            "folder": surface.folder.name.encode(),
            "session": path.read_bytes(),
            "record": (surface.folder / "surface-0001.json").read_bytes(),
            "export": out.read_bytes(),
            "table": table.read_bytes(),
            "instrument": record.read_bytes(),
            "index": index.read_bytes(),
        }


def of_shop(name: str) -> Callable[[], list[bytes]]:
    return lambda: [shop()[name]]


def sealed(data: bytes, rng: Rng) -> bytes:
    """Mostly with a seal that fits, so that damage gets as far as HDF5."""
    body = data[:-SEAL_BYTES]
    return body + seal(body) if rng.random() < 0.85 else data


def stamped(data: bytes, rng: Rng) -> bytes:
    """A record mostly with a digest that fits."""
    import hashlib

    match = re.search(rb'"sha256": "([0-9a-f]{64})"', data)
    if match is None or rng.random() < 0.15:
        return data
    zeros = data.replace(match[1], b"0" * 64)
    return data.replace(match[1], hashlib.sha256(zeros).hexdigest().encode())


def restarted(data: bytes, rng: Rng) -> bytes:
    """An index's entry mostly with a digest that fits."""
    import hashlib

    head, found, rest = data.partition(b'"sha256":"')
    if not found or rng.random() < 0.15:
        return data
    return head + found + hashlib.sha256(rest[64:]).hexdigest().encode() + rest[64:]


def try_session(path: Path) -> None:
    """Every way in which a session is read."""
    survey(path.parent)
    check_session(path)
    with contextlib.suppress(FringeError):
        read_summary(path)
    open_session(path)


def try_record(path: Path) -> None:
    """A record is loaded and listed."""
    list_archive(path.parent.parent)
    load_surface(path.parent)


def try_export(path: Path) -> None:
    """An export is brought into a new archive."""
    import_surface(path, path.parent / "new-shop")


def try_table(path: Path) -> None:
    """A table is read."""
    visits_from_table(path.read_bytes().decode("utf-8", "replace"), path.name)


def try_index(path: Path) -> None:
    """An archive is listed by it."""
    list_archive(path.parent.parent)


def try_command(path: Path) -> None:
    """A photograph goes through the whole command, which must answer as it owes."""
    out, err = io.StringIO(), io.StringIO()
    # finding an edge and fitting within it take seconds, and are not what is tried here
    edge = (["none"] * 30 + ["120,100,95", "auto"])[zlib.crc32(path.read_bytes()) % 32]
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(["read", str(path), "--lamp", "sodium", "--edge", edge, "--json"])
            status: object = 0
        except SystemExit as stop:
            status = stop.code or 0
    values = json.loads(out.getvalue())
    if status == 2:
        assert err.getvalue().count("\n") == 1, err.getvalue()
        raise FringeError(values["error"])
    assert status == 0
    assert "power_fringes" in values


KINDS = {
    "photo": Kind(".jpg", photographs, load_photo),
    "command": Kind(".jpg", photographs, try_command),
    "session": Kind(".h5", of_shop("session"), try_session, sealed),
    "export": Kind(".nc", of_shop("export"), try_export),
    "record": Kind(".json", of_shop("record"), try_record, stamped),
    "instrument": Kind(".toml", of_shop("instrument"), lambda p: read_instrument(p, "plate")),
    "table": Kind(".csv", of_shop("table"), try_table),
    "index": Kind(".json", of_shop("index"), try_index, restarted),
}
# How many of a hundred inputs are of each kind.
SHARES = {"photo": 45, "command": 2, "session": 30, "export": 5, "record": 6, "instrument": 4,
          "table": 5, "index": 3}  # fmt: skip
_NUMBERS = (0, 1, 2, 127, 128, 255, 256, 32767, 65535, 2**31 - 1, 2**31, 2**32 - 1, 2**63 - 1,
            2**64 - 1)  # fmt: skip


def mutated(data: bytes, rng: Rng, more: bytes) -> bytes:
    """Damage bytes in one to six ways; `more` is another file to take pieces of."""
    spoilt = bytearray(data)
    for _ in range(int(rng.integers(1, 7))):
        if len(spoilt) < 8:
            break
        at = int(rng.integers(len(spoilt)))
        if rng.random() < 0.5:  # the start holds what the rest is understood by
            at = int(rng.integers(min(len(spoilt), 600)))
        length = int(rng.integers(1, 1 + min(200, len(spoilt) - at)))
        way = int(rng.integers(8))
        if way <= 1:
            spoilt[at] ^= 1 << int(rng.integers(8))
        elif way == 2:
            spoilt[at] = int(rng.integers(256))
        elif way == 3:
            size = int(rng.choice([1, 2, 4, 8]))
            number = _NUMBERS[int(rng.integers(len(_NUMBERS)))] % (1 << 8 * size)
            order = "little" if rng.random() < 0.5 else "big"
            spoilt[at : at + size] = number.to_bytes(size, order)
        elif way == 4:
            del spoilt[at : at + length]
        elif way == 5:
            spoilt[at:at] = spoilt[at : at + length]
        elif way == 6:
            start = int(rng.integers(max(1, len(more) - length)))
            spoilt[at : at + length] = more[start : start + length]
        else:
            del spoilt[int(rng.integers(len(spoilt) // 2, len(spoilt))) :]
    return bytes(spoilt)


def made(kind: str, seed: int, number: int) -> bytes:
    """An input, from its seed, kind and number alone."""
    rng = np.random.default_rng([seed, number, zlib.crc32(kind.encode())])
    corpus = KINDS[kind].corpus()
    data = corpus[int(rng.integers(len(corpus)))]
    more = corpus[int(rng.integers(len(corpus)))]
    return KINDS[kind].mend(mutated(data, rng, more), rng)


def laid(kind: str, data: bytes, place: Path) -> Path:
    """Put an input where the program would look for it."""
    folder = place / "shop" / shop()["folder"].decode()
    if kind in ("session", "record", "index"):
        folder.mkdir(parents=True)
        (folder / "surface-0001.json").write_bytes(shop()["record"])
    if kind == "session":
        path = folder / shop()["name"].decode()
    elif kind == "record":
        path = folder / "surface-0001.json"
    elif kind == "index":
        path = place / "shop" / FOLDER / f"{folder.name}.json"
        path.parent.mkdir()
    else:
        path = place / f"input{KINDS[kind].suffix}"
    path.write_bytes(data)
    return path


@dataclass
class Outcome:
    """What became of many inputs: how many ended how, and what must be looked at."""

    ends: Counter[str] = field(default_factory=Counter)
    findings: list[str] = field(default_factory=list)


def kinds_of(count: int) -> list[str]:
    """Kinds of so many inputs, in their shares."""
    row = [kind for kind, share in SHARES.items() for _ in range(share)]
    return [row[i * 37 % 100] for i in range(count)]


def fuzz(count: int, seed: int, told: Callable[[int], None] = lambda done: None) -> Outcome:
    """Try so many inputs.

    Parameters
    ----------
    count : int
        How many.
    seed : int
        What they follow from.
    told : callable
        Hears now and then how many are done.
    """
    outcome = Outcome()
    kinds = kinds_of(count)
    for kind in SHARES:  # before the processes part
        KINDS[kind].corpus()
    done = 0
    while done < count:
        for answer in _batch(kinds[done : done + 100], seed, done):
            number, end, text = answer
            outcome.ends[f"{kinds[number]} {end}"] += 1
            if end not in ("read", "refused"):
                outcome.findings.append(f"{kinds[number]}:{number} of seed {seed}: {end}: {text}")
            done = number + 1
        told(done)
    return outcome


def _batch(kinds: list[str], seed: int, start: int) -> Iterator[tuple[int, str, str]]:
    """Try some inputs in another process; one that it dies of is the last that it answers."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        _limit()
        with os.fdopen(write, "w") as pipe:
            for number, kind in enumerate(kinds, start):
                pipe.write(json.dumps([number, *_tried(kind, seed, number)]) + "\n")
                pipe.flush()
        os._exit(0)
    os.close(write)
    last = start - 1
    with os.fdopen(read) as pipe:
        for line in pipe:
            last, end, text = json.loads(line)
            yield last, end, text
    _, status = os.waitpid(child, 0)
    if status:
        yield last + 1, "died", f"status {status}"


def _limit() -> None:
    taken = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (taken + MEMORY,) * 2)
    signal.signal(signal.SIGPROF, _too_slow)


def _too_slow(*_: object) -> None:
    raise TimeoutError(f"took more than {SECONDS} s")


def _tried(kind: str, seed: int, number: int) -> tuple[str, str]:
    place = Path(tempfile.mkdtemp(prefix="fringe-fuzz-"))
    try:
        path = laid(kind, made(kind, seed, number), place)
        signal.setitimer(signal.ITIMER_PROF, SECONDS)
        KINDS[kind].attempt(path)
    except FringeError as error:
        text = str(error)
        if "\n" in text or not text.strip():
            return "a refusal of several lines", text
        if path.name not in text:
            return "a refusal that does not name the file", text
        return "refused", text
    except BaseException as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        place_text = f"{Path(last.filename).name}:{last.lineno}"
        return type(error).__name__, f"{str(error)[:200]} ({place_text})"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        shutil.rmtree(place, ignore_errors=True)
    return "read", ""


def again(text: str, seed: int) -> None:
    """Try one input, by KIND:NUMBER, in this process and let everything out."""
    kind, _, number = text.partition(":")
    place = Path(tempfile.mkdtemp(prefix="fringe-fuzz-"))
    path = laid(kind, made(kind, seed, int(number)), place)
    print(path, file=sys.stderr)
    start = time.perf_counter()
    try:
        KINDS[kind].attempt(path)
    finally:
        print(f"{time.perf_counter() - start:.1f} s", file=sys.stderr)

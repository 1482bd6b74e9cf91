"""`fringe bench` as a person and a program start and end it."""

from __future__ import annotations

import json
import re
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from calling import call, refused
from sample_visits import full_surface

FRINGE = Path(sys.executable).with_name("fringe")


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    full_surface(tmp_path / "shop")
    return tmp_path / "shop"


def test_check_says_where_it_is(shop, capsys):
    """--check opens the page on this machine alone, says its address, and ends."""
    answer = call(capsys, "bench", "shop", "--port", "0", "--check")
    assert (answer.status, answer.err) == (0, "")
    assert re.fullmatch(r"shop: the bench is at http://127\.0\.0\.1:\d+/\n", answer.out)


def test_json(shop, capsys):
    """JSON holds the addresses, and no pass where none is needed."""
    values = call(capsys, "bench", "shop", "--port", "0", "--check", "--json").json
    assert values["archive"] == "shop"
    assert values["pass"] is None
    assert values["urls"][0].startswith("http://127.0.0.1:")


def test_the_network_gets_a_pass(shop, capsys):
    """With --network the screen shows a pass, its address and code, and the fingerprint."""
    out = call(capsys, "bench", "shop", "--port", "0", "--network", "--check").out
    shown = re.search(r"Pass for the next device: (\w{4})-(\w{4})   (https://\S+)#(\w{8})", out)
    assert shown is not None
    assert shown[1] + shown[2] == shown[4]
    assert "▀" in out
    values = call(capsys, "bench", "shop", "--port", "0", "--network", "--check", "--json").json
    assert re.fullmatch(r"\w{8}", values["pass"])
    assert re.fullmatch(r"([0-9A-F]{2}:){31}[0-9A-F]{2}", values["fingerprint"])
    assert re.findall(r"^  (\S+)$", out, re.M) == [
        values["fingerprint"][:47],
        values["fingerprint"][48:],
    ]


def test_a_network_without_encryption(shop, capsys):
    """With --plain no certificate is made, and the address says so."""
    words = ("bench", "shop", "--port", "0", "--network", "--plain", "--check", "--json")
    values = call(capsys, *words).json
    assert values["urls"][0].startswith("http://")
    assert values["fingerprint"] is None
    assert not (shop.parent / "state").exists()


def test_an_archive_without_a_surface(shop, capsys, tmp_path):
    """A folder that is not there begins an archive; one with other files is refused."""
    answer = call(capsys, "bench", "gone", "--port", "0", "--check")
    assert (answer.status, answer.err) == (0, "")
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "letter.txt").write_text("dear")
    assert "fringe surface add" in refused(capsys, "bench", "letters", "--check")


def test_a_port_that_is_taken(shop, capsys):
    """A port that another program listens on is refused by its number."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        line = refused(capsys, "bench", "shop", "--port", str(port), "--check")
    assert f"--port: {port} cannot be opened" in line


def test_without_the_extra(shop, capsys, monkeypatch):
    """Where the libraries of the page are not installed, the line says how to get them."""
    for name in [name for name in sys.modules if name.startswith("fringe.bench")]:
        parent, _, child = name.rpartition(".")
        # the package's own attribute as well, or other tests find the module of this one there
        if parent in sys.modules and hasattr(sys.modules[parent], child):
            monkeypatch.delattr(sys.modules[parent], child)
    for name in [name for name in sys.modules if name.startswith("fringe.bench")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "flask", None)
    line = refused(capsys, "bench", "shop", "--check")
    assert "needs flask" in line
    assert "[bench]" in line


def test_it_serves_until_ctrl_c(shop, tmp_path):
    """The program answers this machine, refuses other names, and Ctrl-C ends it cleanly."""
    bench = subprocess.Popen(
        [FRINGE, "bench", "shop", "--port", "0", "--json"],
        cwd=tmp_path,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    try:
        assert bench.stdout is not None
        url = json.loads(bench.stdout.readline())["urls"][0]
        with urllib.request.urlopen(f"{url}api/desk", timeout=600) as answer:
            assert json.load(answer)["surfaces"][0]["name"] == "concave 1"
        other = urllib.request.Request(f"{url}api/desk", headers={"Host": "evil.example"})
        with pytest.raises(urllib.error.HTTPError, match="421"):
            urllib.request.urlopen(other, timeout=600)
    finally:
        bench.send_signal(signal.SIGINT)
        out, err = bench.communicate(timeout=600)
    assert (bench.returncode, out, err) == (0, "", "")

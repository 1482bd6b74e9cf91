"""The bench's own certificate, and the page served by it: what guards it holds there as well."""

from __future__ import annotations

import hashlib
import http.client
import json
import os
import socket
import ssl
import stat
from contextlib import ExitStack, closing
from datetime import UTC, datetime, timedelta

import pytest
from bench_page import served

from fringe.bench import gateway, serve
from fringe.bench.pages import MOST_UPLOAD
from fringe.bench.tls import FILE, HOLDS, RENEWED, own_certificate, state_folder
from fringe.errors import BadInput

NAMES = ("192.0.2.7", "shop.local")
NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)


@pytest.fixture
def own(monkeypatch, tmp_path):
    """A folder for the certificate that is no user's."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return state_folder()


class Visitor:
    """Speaks to a bench as a browser does that has accepted this one certificate."""

    def __init__(self, bench):
        self.port = bench.guard.port
        self.context = ssl.create_default_context(cafile=bench.certificate.path)
        self.headers = {
            "Origin": f"https://127.0.0.1:{self.port}",
            "X-Fringe-Token": bench.guard.token,
        }

    def connect(self):
        plain = socket.create_connection(("127.0.0.1", self.port), timeout=300)
        return self.context.wrap_socket(plain, server_hostname="127.0.0.1")

    def ask(self, method="GET", path="/", body=None, **headers):
        with closing(
            http.client.HTTPSConnection("127.0.0.1", self.port, context=self.context, timeout=300)
        ) as line:
            more = {} if method == "GET" else self.headers
            line.request(method, path, body, {**more, **headers})
            answer = line.getresponse()
            return answer, answer.read()

    def begin(self, line, length, cookie=""):
        """The head of a photograph that is `length` bytes long, and a first byte."""
        head = [
            "PUT /api/shots HTTP/1.1",
            f"Host: 127.0.0.1:{self.port}",
            *(f"{name}: {value}" for name, value in self.headers.items()),
            f"Cookie: {cookie}",
            f"Content-Length: {length}",
        ]
        line.sendall("\r\n".join([*head, "", "x"]).encode())


@pytest.fixture
def locked(own, surface, reader, tmp_path, monkeypatch):
    """A bench for the network, encrypted, on this machine alone; the passes; and a visitor."""
    monkeypatch.setattr(serve, "own_addresses", lambda: ["127.0.0.1"])
    passes = []
    with served(
        tmp_path / "shop", network=True, encrypted=True, new_pass=passes.append, reader=reader
    ) as bench:
        yield bench, passes, Visitor(bench)


def let_in(visitor, passes):
    answer, _ = visitor.ask(
        "POST", "/enter", json.dumps({"pass": passes[-1]}), **{"Content-Type": "application/json"}
    )
    given = answer.getheader("Set-Cookie")
    assert {"Secure", "HttpOnly", "SameSite=Strict"} <= {one.strip() for one in given.split(";")}
    return given.split(";")[0]


def test_it_is_made_once_for_its_owner_alone(own):
    """The first start makes it, the next finds it; nobody else may read the key."""
    first = own_certificate(NAMES)
    assert first.path == own / FILE
    assert own_certificate(NAMES[:1]) == first
    if os.name == "posix":
        assert stat.S_IMODE(first.path.stat().st_mode) == 0o600
    der = ssl.PEM_cert_to_DER_cert(first.path.read_text().split("-----END PRIVATE KEY-----\n")[1])
    assert first.sha256.replace(":", "").lower() == hashlib.sha256(der).hexdigest()
    assert ":".join(first.rows) == first.sha256


@pytest.mark.parametrize("day", [0, 1], ids=["before", "after"])
def test_it_is_renewed_before_it_ends(own, day):
    """(analytic) A month before its end another one is made, which holds from then on."""
    first = own_certificate(NAMES, now=NOW)
    later = NOW + HOLDS - RENEWED + timedelta(days=day, hours=-1)
    second = own_certificate(NAMES, now=later)
    assert (second == first) == (day == 0)
    assert second.ends > later + RENEWED


def test_it_is_made_anew_where_it_does_not_serve(own):
    """For another address, for rights that were opened, and for a file that is damaged."""
    seen = [own_certificate(NAMES)]

    def another(names=NAMES):
        seen.append(own_certificate(names))
        return seen[-1] != seen[-2]

    assert another(("198.51.100.4",))
    assert not another(NAMES)  # the names of before are still in it
    if os.name == "posix":
        seen[-1].path.chmod(0o644)
        assert another()
        assert stat.S_IMODE(seen[-1].path.stat().st_mode) == 0o600
    seen[-1].path.write_bytes(b"-----BEGIN CERTIFICATE-----\nAAAA\n")
    assert another()
    seen[-1].path.unlink()
    seen[-1].path.mkdir()
    with pytest.raises(BadInput, match="cannot be written"):
        own_certificate(NAMES)


def test_a_state_folder_that_is_none(tmp_path, monkeypatch):
    """One line says what to set where the folder cannot be made."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    with pytest.raises(BadInput, match="set XDG_STATE_HOME to a folder of yours"):
        own_certificate(NAMES)


def test_a_device_is_let_in_over_tls(locked):
    """The page before the pass shows the fingerprint that the server itself has, and lets in."""
    bench, passes, visitor = locked
    with closing(visitor.connect()) as line:
        seen = hashlib.sha256(line.getpeercert(binary_form=True)).hexdigest().upper()
    _, page = visitor.ask()
    assert seen == bench.certificate.sha256.replace(":", "")
    assert seen in page.decode().replace("<wbr>", "").replace(":", "")
    assert visitor.ask(path="/api/desk")[0].status == 401
    cookie = let_in(visitor, passes)
    assert visitor.ask(path="/api/desk", Cookie=cookie)[0].status == 200
    for wrong in (
        {"Origin": f"http://127.0.0.1:{visitor.port}"},
        {"Origin": "https://evil.example"},
        {"X-Fringe-Token": "guess"},
    ):
        assert visitor.ask("POST", "/api/desk", "{}", Cookie=cookie, **wrong)[0].status == 403
    evil = visitor.ask(path="/api/desk", Cookie=cookie, Host="evil.example")[0]
    assert evil.status == 421
    with closing(socket.create_connection(("127.0.0.1", visitor.port), timeout=300)) as plain:
        plain.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert b"HTTP/1.1 2" not in plain.recv(1000)


def test_guessing_malformed_and_deep_over_tls(locked):
    """Wrong passes make this address wait; what is no JSON, or far too deep, is said in a line."""
    _, passes, visitor = locked
    headers = {"Content-Type": "application/json"}
    for body in ("[" * 19_000, "{", "[1]", '"x"', b"\xff\xfe"):
        answer, said = visitor.ask("POST", "/enter", body, **headers)
        assert (answer.status, set(json.loads(said))) == (400, {"error"})
    assert visitor.ask("POST", "/enter", "[" * 30_000, **headers)[0].status == 413
    found = [
        visitor.ask("POST", "/enter", '{"pass": "abcdefgh"}', **headers)[0].status for _ in range(7)
    ]
    assert found[0] == 403
    assert found[-1] == 429
    assert len(passes) == 1


def test_who_only_waits_or_sends_slowly_stops_nobody(locked):
    """A hundred open connections, half of them without a handshake, and more slow uploads than
    there are threads: the page answers."""
    _, passes, visitor = locked
    cookie = let_in(visitor, passes)
    with ExitStack() as stack:
        for _ in range(50):
            stack.enter_context(socket.create_connection(("127.0.0.1", visitor.port), timeout=300))
            stack.enter_context(visitor.connect())
        for _ in range(2 * serve.THREADS):
            visitor.begin(stack.enter_context(visitor.connect()), 40_000_000, cookie)
        assert visitor.ask(path="/api/desk", Cookie=cookie)[0].status == 200


def test_sizes_over_tls(locked, picture):
    """A photograph arrives whole; one byte too many is refused; a stranger's is not taken."""
    bench, passes, visitor = locked
    with closing(visitor.connect()) as line:
        visitor.begin(line, MOST_UPLOAD)  # and no more comes: the answer does not wait for it
        assert line.recv(1000).split()[1] == b"401"
    cookie = let_in(visitor, passes)
    data = picture(900)
    answer, said = visitor.ask("PUT", "/api/shots", data, Cookie=cookie)
    assert answer.status == 200
    assert bench.desk.shot(json.loads(said)["added"]).data == data
    for body in (bytes(MOST_UPLOAD + 1), (bytes(5_000_000) for _ in range(11))):
        answer, said = visitor.ask("PUT", "/api/shots", body, Cookie=cookie)
        assert answer.status == 413
        assert "larger than 50 MB" in json.loads(said)["error"]


def test_who_says_nothing_is_hung_up_on(own, surface, reader, tmp_path, monkeypatch):
    """Without a request, in the middle of a head and in the middle of a body a silence ends it."""
    monkeypatch.setattr(gateway, "IDLE_S", 0.05)
    with served(tmp_path / "shop", encrypted=True, reader=reader) as bench:
        visitor = Visitor(bench)
        with closing(visitor.connect()) as line:
            assert line.recv(100) == b""
        with closing(visitor.connect()) as line:
            line.sendall(b"GET / HTTP/1.1\r\nHost:")
            assert line.recv(100) == b""
        with closing(visitor.connect()) as line:
            visitor.begin(line, 1000)
            assert line.recv(100).split()[1] == b"408"

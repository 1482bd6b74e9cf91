"""From connections to the page's application: requests are whole before a thread takes them.

The server (uvicorn) speaks HTTP and TLS in one thread, so that a connection that only waits costs
nothing; the application (Flask) answers in a few threads. Between the two, a request's body is
collected here, with a limit to its size and to its time: nobody who sends slowly, or too much,
keeps a thread from the others.
"""

from __future__ import annotations

import asyncio
import io
import sys
import time
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from tempfile import SpooledTemporaryFile
from typing import IO, Any

from uvicorn.protocols.http.h11_impl import H11Protocol

IDLE_S = 20.0  # without a byte of a request, or without a new one
LONGEST_BODY_S = 600.0
_IN_MEMORY = 1_000_000  # bytes of a body; the rest goes to a file without a name
Environ = dict[str, Any]
App = Callable[[Environ, Callable[..., Any]], Iterable[bytes]]
MostBody = Callable[[str, Mapping[str, str]], int]


class Connection(H11Protocol):
    """A connection that is closed if no whole request comes for a while."""

    _answered: object = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to watch."""
        super().connection_made(transport)
        self._watch = self.loop.call_later(IDLE_S, self._look)

    def connection_lost(self, exc: Exception | None) -> None:
        """Watch no longer."""
        self._watch.cancel()
        super().connection_lost(exc)

    def _look(self) -> None:
        if self.cycle is self._answered and (self.cycle is None or self.cycle.response_complete):
            self.transport.abort()  # whoever holds it may not even take its end
            return
        self._answered = self.cycle
        self._watch = self.loop.call_later(IDLE_S, self._look)


class Gateway:
    """The page's application for an asynchronous server (ASGI 3 to WSGI, PEP 3333).

    Parameters
    ----------
    app : callable
        The WSGI application; its answers are short or in memory anyway.
    most_body : callable
        Gets path and headers of a request, and says how many bytes its body may have. Of a larger
        one nothing is kept; the application sees its length alone, and refuses it.
    threads : int
        That answer.
    """

    def __init__(self, app: App, most_body: MostBody, threads: int) -> None:
        self._app = app
        self._most_body = most_body
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="bench")

    def close(self) -> None:
        """Answer nothing that has not begun."""
        self._pool.shutdown(wait=False, cancel_futures=True)

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Answer one request."""
        headers = _headers(scope["headers"])
        with SpooledTemporaryFile(_IN_MEMORY) as body:
            try:
                length = await _collected(
                    body, headers, receive, self._most_body(scope["path"], headers)
                )
            except TimeoutError:
                await _say(send, "408 Request Timeout", [("Connection", "close")], b"")
                return
            if length is None:
                return  # it went away
            body.seek(0)
            environ = _environ(scope, headers, length, body)
            try:
                answer = await asyncio.get_running_loop().run_in_executor(
                    self._pool, _answer, self._app, environ
                )
            except RuntimeError:  # the pool was closed: the bench ends
                return
        await _say(send, *answer)


async def _collected(
    body: IO[bytes], headers: Mapping[str, str], receive: Any, most: int
) -> int | None:
    """Put a body into a file; its length, or of one that is too large what it would have.

    Raises
    ------
    TimeoutError
        If it comes too slowly.
    """
    stated = headers.get("content-length", "")
    length, size = int(stated) if stated.isdecimal() else 0, 0
    if most <= 0 and (length or "transfer-encoding" in headers):
        return max(length, 1)  # not even looked at
    until = time.monotonic() + LONGEST_BODY_S
    while True:
        left = until - time.monotonic()
        message = await asyncio.wait_for(receive(), max(0.0, min(IDLE_S, left)))
        if message["type"] == "http.disconnect":
            return None
        part = message.get("body", b"")
        size += len(part)
        if max(size, length) <= most:
            body.write(part)
        elif size > 4 * max(most, _IN_MEMORY):
            return size  # a browser hears a refusal only once it has sent all; that has an end
        if not message.get("more_body"):
            if size > most:
                body.seek(0)
                body.truncate()
            return size


def _headers(pairs: Iterable[tuple[bytes, bytes]]) -> dict[str, str]:
    """Headers by their names in small letters; those that come twice are joined (RFC 9110, 5.3)."""
    found: dict[str, str] = {}
    for name, value in pairs:
        key, text = name.decode("latin-1").lower(), value.decode("latin-1")
        if "_" in key:
            continue  # an application could not tell it from one with hyphens
        joint = "; " if key == "cookie" else ","
        found[key] = f"{found[key]}{joint}{text}" if key in found else text
    return found


def _environ(
    scope: Mapping[str, Any], headers: Mapping[str, str], length: int, body: IO[bytes]
) -> Environ:
    """A request as PEP 3333 has it."""
    client, server = scope.get("client") or ("", 0), scope.get("server") or ("", 0)
    environ: Environ = {
        "REQUEST_METHOD": scope["method"],
        "SCRIPT_NAME": "",
        "PATH_INFO": scope["path"].encode().decode("latin-1"),
        "QUERY_STRING": scope["query_string"].decode("latin-1"),
        "SERVER_NAME": str(server[0]),
        "SERVER_PORT": str(server[1]),
        "SERVER_PROTOCOL": f"HTTP/{scope['http_version']}",
        "REMOTE_ADDR": str(client[0]),
        "CONTENT_LENGTH": str(length),
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": scope["scheme"],
        "wsgi.input": body,
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": False,
        "wsgi.run_once": False,
    }
    for name, value in headers.items():
        if name == "content-type":
            environ["CONTENT_TYPE"] = value
        elif name not in ("content-length", "transfer-encoding"):
            environ[f"HTTP_{name.upper().replace('-', '_')}"] = value
    return environ


def _answer(app: App, environ: Environ) -> tuple[str, list[tuple[str, str]], bytes]:
    """The application's answer: status, headers and body."""
    said: list[Any] = []

    def start_response(status: str, headers: list[tuple[str, str]], exc_info: Any = None) -> Any:
        said[:] = [status, headers]
        return whole.write

    whole = io.BytesIO()
    parts = app(environ, start_response)
    try:
        for part in parts:
            whole.write(part)
    finally:
        if hasattr(parts, "close"):
            parts.close()
    return said[0], said[1], whole.getvalue()


async def _say(send: Any, status: str, headers: list[tuple[str, str]], body: bytes) -> None:
    pairs = [(name.lower().encode("latin-1"), value.encode("latin-1")) for name, value in headers]
    await send({"type": "http.response.start", "status": int(status.split()[0]), "headers": pairs})
    await send({"type": "http.response.body", "body": body})

"""The server of the bench page, its addresses, and the pass on the screen."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path

from uvicorn import Config, Server

from fringe.bench.desk import Desk
from fringe.bench.gateway import IDLE_S, Connection, Gateway
from fringe.bench.guard import Guard
from fringe.bench.pages import make_app, most_body
from fringe.bench.tls import Certificate, own_certificate
from fringe.bench.worker import ProcessReader, Reader
from fringe.errors import BadInput

LOOPBACK = ("127.0.0.1", "localhost")
THREADS = 8
CONNECTIONS = 400
_ENDING_S = 1  # for requests that are being answered when the bench ends


class BenchServer:
    """A bench page that is being served.

    Parameters
    ----------
    archive : Path
        The archive to log into.
    port : int
        Where to listen; 0 takes any that is free.
    network : bool
        Let devices of the local network in, each by a pass.
    encrypted : bool
        By a certificate of its own; without it no device of the network gives its camera.
    new_pass : callable
        Called with each new pass, to show it on the screen.
    reader : Reader or None
        Reads the photographs; None starts a process for it.

    Raises
    ------
    BadInput
        If the archive's folder holds no surface but other files, the port is taken, or the
        certificate cannot be kept.
    """

    def __init__(
        self,
        archive: Path,
        *,
        port: int = 0,
        network: bool = False,
        encrypted: bool = False,
        new_pass: Callable[[str], None] = lambda text: None,
        reader: Reader | None = None,
    ) -> None:
        self.addresses = own_addresses() if network else ["127.0.0.1"]
        hosts = {*LOOPBACK, *(self.addresses + own_names() if network else [])}
        self.certificate: Certificate | None = own_certificate(hosts) if encrypted else None
        desk_reader = ProcessReader() if reader is None else reader
        end: Callable[[], object] = desk_reader.close
        try:
            self.desk = Desk(archive, desk_reader)
            end = self.desk.close  # lets go of the archive as well
            self._socket = _listening("0.0.0.0" if network else "127.0.0.1", port)
            scheme = "https" if encrypted else "http"
            self.guard = Guard(hosts, needs_pass=network, new_pass=new_pass, scheme=scheme)
            self.guard.port = int(self._socket.getsockname()[1])
            rows = self.certificate.rows if self.certificate else ()
            app = make_app(self.desk, self.guard, rows)
            self._gateway = Gateway(app, partial(most_body, self.guard), THREADS)
            self._server = Server(self._config())
        except OSError as error:
            end()
            raise BadInput(
                f"--port: {port} cannot be opened ({error.strerror}); give another one"
            ) from error
        except BaseException:
            end()
            raise

    def _config(self) -> Config:
        certificate = self.certificate
        return Config(
            self._gateway,
            http=Connection,
            ws="none",
            loop="asyncio",
            lifespan="off",
            interface="asgi3",
            ssl_certfile=certificate.path if certificate else None,  # and the key in it
            limit_concurrency=CONNECTIONS,
            timeout_keep_alive=int(IDLE_S),
            timeout_graceful_shutdown=_ENDING_S,
            proxy_headers=False,
            server_header=False,
            access_log=False,
            log_config=None,
            log_level="critical",
        )

    @property
    def urls(self) -> list[str]:
        """Addresses of the page."""
        return [f"{self.guard.scheme}://{host}:{self.guard.port}/" for host in self.addresses]

    def run(self) -> None:
        """Serve until Ctrl-C or :meth:`close`."""
        with suppress(KeyboardInterrupt):
            self._server.run([self._socket])

    def close(self) -> int:
        """End it; return how many photographs were not logged."""
        left = self.desk.close()
        self._gateway.close()
        self._server.should_exit = True
        if not self._server.started:
            self._socket.close()
        return left


def _listening(host: str, port: int) -> socket.socket:
    """A socket that listens; `OSError` where the port is taken."""
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":  # elsewhere it would share the port with another program
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((host, port))
        made.listen(128)
    except OSError:
        made.close()
        raise
    return made


def own_addresses() -> list[str]:
    """Addresses of this machine in the local network, the likeliest first."""
    addresses: list[str] = []
    try:
        # asks the routing table; nothing is sent (192.0.2.0/24 is for documents, RFC 5737)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(("192.0.2.1", 9))
            addresses.append(probe.getsockname()[0])
    except OSError:
        pass
    try:
        for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET):
            addresses.append(str(entry[4][0]))
    except OSError:
        pass
    reachable = [address for address in dict.fromkeys(addresses) if not address.startswith("127.")]
    return reachable or ["127.0.0.1"]


def own_names() -> list[str]:
    """Names of this machine in the local network."""
    name = socket.gethostname().lower()
    return [name, f"{name.split('.')[0]}.local"]


def qr_lines(text: str) -> list[str]:
    """Draw a text as a QR code of half blocks, dark on light, with its quiet zone."""
    import segno

    rows = [list(row) for row in segno.make(text, error="l", micro=False).matrix_iter(border=2)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    blocks = {(0, 0): " ", (1, 0): "▀", (0, 1): "▄", (1, 1): "█"}
    return [
        "".join(blocks[bool(a), bool(b)] for a, b in zip(top, bottom, strict=True))
        for top, bottom in zip(rows[0::2], rows[1::2], strict=True)
    ]

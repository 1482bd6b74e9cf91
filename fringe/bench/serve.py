"""The server of the bench page, its addresses, and the pass on the screen."""

from __future__ import annotations

import logging
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fringe.bench.desk import Desk
from fringe.bench.guard import Guard
from fringe.bench.pages import MOST_UPLOAD, make_app
from fringe.bench.worker import ProcessReader, Reader
from fringe.errors import BadInput

LOOPBACK = ("127.0.0.1", "localhost")
THREADS = 8
CONNECTIONS = 400


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
    new_pass : callable
        Called with each new pass, to show it on the screen.
    reader : Reader or None
        Reads the photographs; None starts a process for it.

    Raises
    ------
    BadInput
        If the archive holds no surface, or the port is taken.
    """

    def __init__(
        self,
        archive: Path,
        *,
        port: int = 0,
        network: bool = False,
        new_pass: Callable[[str], None] = lambda text: None,
        reader: Reader | None = None,
    ) -> None:
        from waitress.server import create_server

        self._open: dict[int, Any] = {}
        self._closing = False
        logging.getLogger("waitress").setLevel(logging.ERROR)
        self.addresses = own_addresses() if network else ["127.0.0.1"]
        hosts = {*LOOPBACK, *(self.addresses + own_names() if network else [])}
        desk_reader = ProcessReader() if reader is None else reader
        end: Callable[[], object] = desk_reader.close
        try:
            self.desk = Desk(archive, desk_reader)
            end = self.desk.close  # lets go of the archive as well
            self.guard = Guard(hosts, needs_pass=network, new_pass=new_pass)
            app = make_app(self.desk, self.guard)
            self._server: Any = create_server(
                app,
                host="0.0.0.0" if network else "127.0.0.1",
                port=port,
                threads=THREADS,
                max_request_body_size=MOST_UPLOAD + 1,
                connection_limit=CONNECTIONS,
                ident=None,
                # what only holds a connection open gives it up soon; the page asks again anyway
                channel_timeout=20,
                cleanup_interval=5,
                map=self._open,
            )
        except OSError as error:
            end()
            raise BadInput(
                f"--port: {port} cannot be opened ({error.strerror}); give another one"
            ) from error
        except BaseException:
            end()
            raise
        self.guard.port = int(self._server.effective_port)

    @property
    def urls(self) -> list[str]:
        """Addresses of the page."""
        return [f"http://{host}:{self.guard.port}/" for host in self.addresses]

    def run(self) -> None:
        """Serve until Ctrl-C or :meth:`close`."""
        try:
            self._server.run()
        except OSError:
            if not self._closing:  # `close` closes the sockets that the server waits on
                raise

    def close(self) -> int:
        """End it; return how many photographs were not logged."""
        self._closing = True
        left = self.desk.close()
        self._server.task_dispatcher.shutdown()
        self._server.asyncore.close_all(self._open, ignore_all=True)
        return left


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

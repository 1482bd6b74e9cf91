"""`fringe bench`: a local web page for the phone or tablet beside the stand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import json_option
from fringe.cli.printing import print_json
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.bench.serve import BenchServer

PORT = 8740


@click.command("bench", short_help="Serve a page for the phone or tablet beside the stand.")
@click.argument("archive", type=click.Path(path_type=Path))
@click.option(
    "--network", is_flag=True, help="Let devices of the local network in, each by a one-time pass."
)
@click.option(
    "--plain", is_flag=True, help="With --network: without encryption, and so without a live view."
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=PORT,
    show_default=True,
    help="Where to listen; 0 takes any that is free.",
)
@click.option("--check", is_flag=True, help="Open the page, say where it is, and stop.")
@json_option
def command(
    archive: Path, network: bool, plain: bool, port: int, check: bool, as_json: bool
) -> None:
    """Serve a page for the phone or tablet beside the stand.

    Take or choose a photograph of the fringes; the page reads it, shows the edge to be dragged
    if it is wrong, and answers in large letters: power, how sure, verdict, next step. Several
    photographs show how the glass settles. The visit is logged into ARCHIVE. All devices see
    the same bench.

    An ARCHIVE that is not there yet, or an empty folder, begins a new one: the page makes its
    first surface.

    Only this machine can open the page, unless --network: then each device is let in by a
    pass that is shown here and good for one device. What is sent is encrypted by a certificate
    of the bench's own. A device warns of it the first time: compare the fingerprint with the one
    that is shown here, and go on. Ctrl-C ends it.

    \b
    Example:
      fringe bench shop --check
    """
    shower = _Shower(as_json)
    server = _open(archive, port, network, network and not plain, shower.new_pass)
    try:
        shower.opened(server, check=check)
        if not check:
            server.run()
    finally:
        left = server.close()
    if left:
        kept = "; kept for the next time" if server.desk.kept else ""
        click.echo(f"{left} photograph{'' if left == 1 else 's'} not logged yet{kept}", err=True)


def _open(
    archive: Path, port: int, network: bool, encrypted: bool, new_pass: Callable[[str], None]
) -> BenchServer:
    try:
        from fringe.bench.serve import BenchServer

        return BenchServer(
            archive, port=port, network=network, encrypted=encrypted, new_pass=new_pass
        )
    except ModuleNotFoundError as error:
        if error.name not in ("cryptography", "flask", "h11", "segno", "uvicorn", "werkzeug"):
            raise
        raise BadInput(
            f"the bench page needs {error.name}, which is not installed; say "
            "`pip install -e '.[bench]'` in fringe's folder"
        ) from error


class _Shower:
    """Says where the page is, and shows each new pass."""

    def __init__(self, as_json: bool) -> None:
        self.as_json = as_json
        self.server: BenchServer | None = None
        self.words = ""

    def opened(self, server: BenchServer, *, check: bool) -> None:
        self.server = server
        if self.as_json:
            print_json(
                {
                    "archive": str(server.desk.archive),
                    "urls": server.urls,
                    "pass": self.words or None,
                    "fingerprint": server.certificate.sha256 if server.certificate else None,
                }
            )
            return
        click.echo(f"{server.desk.archive}: the bench is at {' or '.join(server.urls)}")
        if self.words:
            self.new_pass(self.words)
        if not check:
            click.echo("Ctrl-C ends it")

    def new_pass(self, words: str) -> None:
        """Show a pass; the code brings it along, so that nothing has to be typed."""
        self.words = words
        if self.server is None or self.as_json:
            return
        from fringe.bench.serve import qr_lines

        url = f"{self.server.urls[0]}#{words}"
        click.echo()
        for row in qr_lines(url):
            click.echo(click.style(row, fg="black", bg="white"))
        click.echo(f"Pass for the next device: {words[:4]}-{words[4:]}   {url}")
        if self.server.certificate is not None:
            click.echo("A device warns of the certificate the first time. Its SHA-256 must be")
            for row in self.server.certificate.rows:
                click.echo(f"  {row}")
            click.echo("then go on by Details or Advanced.")

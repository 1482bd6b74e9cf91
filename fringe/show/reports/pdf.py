"""A report's page printed to a PDF, by a browser that is on this machine."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

from fringe.errors import BadInput
from fringe.files import write_whole

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
PAPERS = ("A4", "letter")
_LONGEST_S = 120.0


def printing_browser() -> str | None:
    """Path of a browser that prints; None where there is none."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def page_writer(out: Path, paper: str = PAPERS[0]) -> Callable[[str], bytes]:
    """Return what makes the bytes of a file of a page; by its ending the page itself or a PDF.

    Parameters
    ----------
    out : Path
        File to be written, `.pdf` or another.
    paper : {'A4', 'letter'}
        Of a PDF.

    Raises
    ------
    BadInput
        If it is to be a PDF and no browser is on the path that could print it.
    """
    if out.suffix.lower() != ".pdf":
        return str.encode
    browser = printing_browser()
    if browser is None:
        raise BadInput(
            f"--out: {out}: a browser prints PDF, and none was found; install Chromium "
            "(Debian: apt install chromium), or write an .html page and print that"
        )
    return lambda html: printed(html, browser, paper)


def printed(html: str, browser: str, paper: str) -> bytes:
    """Print a page to a PDF; the browser loads nothing but it, and keeps nothing.

    Raises
    ------
    BadInput
        If the browser prints nothing.
    """
    sized = html.replace("</head>", f"<style>@page {{ size: {paper}; }}</style>\n</head>", 1)
    with tempfile.TemporaryDirectory(prefix="fringe-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        page, pdf = folder / "page.html", folder / "page.pdf"
        write_whole(page, sized.encode(), durable=False)
        command = [
            browser,
            "--headless",
            "--disable-gpu",
            "--no-first-run",
            "--no-pdf-header-footer",
            f"--user-data-dir={folder / 'profile'}",
            f"--print-to-pdf={pdf}",
            page.as_uri(),
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:  # as root it runs without its sandbox only
            command.insert(1, "--no-sandbox")
        try:
            subprocess.run(command, capture_output=True, timeout=_LONGEST_S, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise BadInput(f"{browser}: printed no PDF: {error}") from error
        data = pdf.read_bytes() if pdf.exists() else b""
    if not data.startswith(b"%PDF-"):
        raise BadInput(f"{browser}: printed no PDF; write an .html page and print that")
    return data

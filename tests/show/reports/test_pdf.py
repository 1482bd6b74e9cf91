"""A report as a PDF: printed by a browser, or one line that says what to install."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from fringe.errors import BadInput
from fringe.show.reports.pdf import BROWSERS, page_writer, printed

PAGE = "<!DOCTYPE html><html><head><title>one</title></head><body><p>one page</p></body></html>"


def test_a_page_is_a_page(monkeypatch):
    """Without `.pdf` no browser is asked for, and the bytes are the page's."""
    monkeypatch.setenv("PATH", "")
    assert page_writer(Path("report.html"))(PAGE) == PAGE.encode()


def test_without_a_browser_it_is_said_before_the_work(monkeypatch):
    """Where no browser is on the path, one line says what to install."""
    monkeypatch.setenv("PATH", "")
    with pytest.raises(BadInput, match=r"report\.pdf: a browser prints PDF.*apt install chromium"):
        page_writer(Path("report.pdf"))


def test_a_browser_that_prints_nothing_is_refused():
    """A program that leaves no PDF is named, and gives no bytes."""
    with pytest.raises(BadInput, match="printed no PDF"):
        printed(PAGE, shutil.which("true") or "true", "A4")


@pytest.mark.skipif(not any(map(shutil.which, BROWSERS)), reason="no browser")
def test_it_is_printed_on_its_paper():
    """The PDF has one sheet of A4 [point]: 210 by 297 mm (ISO 216)."""
    data = page_writer(Path("report.pdf"))(PAGE)
    (sheet,) = re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", data)
    assert [float(side) for side in sheet] == pytest.approx([595.3, 841.9], abs=1)

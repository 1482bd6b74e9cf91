"""What the page shows of an archive beside the bench: instruments on record, and reports."""

from __future__ import annotations

import dataclasses
import re
import threading
from datetime import date

from fringe.archive.instrument_records import Record, add_record
from fringe.archive.instruments import Instrument, list_instruments, load_instrument
from fringe.archive.plates.known import plate_state
from fringe.archive.views.judged_pair import MatchLimits
from fringe.bench.desk import Desk
from fringe.bench.on_record import surface_named
from fringe.bench.pictures import DRAWING
from fringe.bench.words import bench_words
from fringe.errors import BadInput
from fringe.show.text.instrument import record_rows, short
from fringe.show.text.plate import plate_rows

_PRINTING = threading.Lock()  # a browser takes some hundred megabytes


def instruments_answer(desk: Desk) -> dict[str, object]:
    """All instruments on record: kind, name, what matters of each, and since when."""
    found = list_instruments(desk.archive)
    return {"rows": [[one.kind, one.name, short(one), one.added] for one in found]}


def instrument_answer(desk: Desk, kind: str, name: str) -> dict[str, object]:
    """All that is known of one instrument, in pairs of label and text; of a plate its visits, too.

    What has no label, as a heading or a remark, has an empty text.
    """
    if kind == "plate":
        state = plate_state(desk.archive, name)
        rows = [*plate_rows(state, date.today()), *state.problems]
    else:
        found = load_instrument(desk.archive, kind, name)
        rows = record_rows(dataclasses.replace(found, path=None))
    return {"name": name, "rows": [_labelled(bench_words(row)) for row in rows]}


def _labelled(row: str) -> list[str]:
    """A row of text as its label and the rest, however it was wrapped."""
    flat = re.sub(r"\s*\n\s*", " ", row.strip())
    label, _, text = re.sub(r"\s{2,}", "\n", flat, count=1).partition("\n")
    return [label, re.sub(r"\s{2,}", ", ", text)]


def put_on_record(desk: Desk, name: str, record: Record, *, replace: bool) -> Instrument:
    """Write the record of an instrument.

    Raises
    ------
    BadInput
        If it makes no sense, or the name is taken and may not be written over.
    """
    made = add_record(desk.archive, name, record, replace=replace)
    desk.look_again()
    return made


def report_answer(desk: Desk, partner: str) -> tuple[str, str]:
    """The report of the surface on the bench, or of a pair: its name and its page.

    Raises
    ------
    BadInput
        If no surface is chosen, or the two are no pair.
    """
    from fringe.show.reports.named import report_by_name

    surface = desk.chosen()
    other = str(surface_named(desk.archive, partner).folder) if partner else None
    with DRAWING:
        found = report_by_name(str(surface.folder), other, MatchLimits(), lambda done, all: None)
    return found.name, found.report.html


def report_pdf(desk: Desk, partner: str, paper: str) -> tuple[str, bytes]:
    """The same as a PDF; `BadInput` where no browser is there to print it."""
    from fringe.show.reports.pdf import PAPERS, printed, printing_browser

    browser = printing_browser()
    if browser is None:
        raise BadInput("no browser is at the computer that could print; open the report instead")
    if paper not in PAPERS:
        raise BadInput(f"{paper!r} is no paper; there are {', '.join(PAPERS)}")
    name, html = report_answer(desk, partner)
    with _PRINTING:
        return name, printed(html, browser, paper)

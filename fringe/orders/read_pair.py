"""Read two photographs between which one thing was done, and tell where the contact is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from fringe.errors import BadInput
from fringe.optics.lamps import Lamp, lamp
from fringe.orders.from_fit import with_lengths
from fringe.orders.options import ReadOptions, StatedOptions
from fringe.orders.read import read
from fringe.orders.reading import Reading
from fringe.orders.sense.two_photographs import (
    INTERVENTIONS,
    SOURCES,
    Intervention,
    PairSense,
    sense_of_pair,
)
from fringe.photo.edge_text import edge_from_text
from fringe.photo.load import Photo, load_photo


@dataclass(frozen=True)
class SensePair:
    """The first photograph's reading with the sense that the pair tells.

    Attributes
    ----------
    reading : Reading
        Of the first photograph, its power signed by what both tell.
    after : Reading
        Of the second, by itself.
    change : Intervention
        What was done between them.
    pair_sense : PairSense
        What the pair alone tells.
    reason : str
        Why the sense is as it is, contrast included.
    """

    reading: Reading
    after: Reading
    change: Intervention
    pair_sense: PairSense
    reason: str

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe sense --json`."""
        return {
            **self.reading.to_json(),
            "change": self.change.kind,
            "reason": self.reason,
            "shift_fringes": self.pair_sense.shift_fringes,
            "log_ratio": self.pair_sense.log_ratio,
            "after": self.after.to_json(),
        }


def read_pair(
    before: Path, after: Path, change: str, stated: StatedOptions, edge_after: str | None = None
) -> SensePair:
    """Tell from two photographs where the contact is.

    Parameters
    ----------
    before, after : Path
        The photographs.
    change : str
        What was done between them: `pressed-centre`, `lower-eye` or ``lamp NAME2``.
    stated : StatedOptions
        How the first one is to be read, with its lamp.
    edge_after : str or None
        Edge in the second one; else that of the first, or found where the eye was lowered.

    Raises
    ------
    BadInput
        If what is said makes no sense, or the pair cannot tell.
    Refused
        If one of the photographs supports no reading.
    """
    options = replace(stated, work=stated.work or "convex").options(lamp(stated.lamp or ""))
    _intervention(change, options.lamp)  # what is said is looked at before what takes time
    return read_loaded_pair(load_photo(before), load_photo(after), change, options, edge_after)


def read_loaded_pair(
    before: Photo, after: Photo, change: str, options: ReadOptions, edge_after: str | None = None
) -> SensePair:
    """Tell from two photographs that are loaded; see :func:`read_pair`.

    Parameters
    ----------
    before, after : Photo
    change, edge_after
        As there.
    options : ReadOptions
        How the first one is to be read.
    """
    done = _intervention(change, options.lamp)
    if options.edge == "none":
        raise BadInput("--edge: the sense needs the work's edge; photograph all of it")
    first = read(before, options)
    second = read(after, _options_after(options, first, done, edge_after))
    pair_sense = sense_of_pair(first, second, done)
    sense, source, reason = _judged(first, pair_sense, done)
    return SensePair(_with_sense(first, sense, source, options), second, done, pair_sense, reason)


def _intervention(text: str, first: Lamp) -> Intervention:
    kind, _, second = text.strip().partition(" ")
    if kind not in INTERVENTIONS or bool(second.strip()) != (kind == "lamp"):
        raise BadInput(
            f"--change: {text!r} is not one of pressed-centre, lower-eye, lamp NAME2, as "
            "`--change lamp mercury-green`"
        )
    return Intervention(kind, first, lamp(second) if kind == "lamp" else first)


def _options_after(
    options: ReadOptions, first: Reading, change: Intervention, edge_after: str | None
) -> ReadOptions:
    """How the second is read: over the edge of the first, if that stood still."""
    if edge_after is not None:
        edge = edge_from_text(edge_after, "--edge")
    elif change.kind == "lower-eye":
        edge = "auto"
    else:
        assert first.edge is not None
        edge = first.edge
    return replace(options, lamp=change.after, edge=edge)


def _judged(
    first: Reading, pair_sense: PairSense, change: Intervention
) -> tuple[str, str | None, str]:
    """Sense, its source and the reason; the contrast of the first photograph counts as well."""
    if pair_sense.sense == "unknown":
        return first.sense, first.sense_source, pair_sense.reason
    if first.sense not in ("unknown", pair_sense.sense):
        reason = (
            f"{pair_sense.reason}, but by the fall of contrast the contact is at the {first.sense}"
        )
        return "unknown", None, reason
    return pair_sense.sense, SOURCES[change.kind], pair_sense.reason


def _with_sense(first: Reading, sense: str, source: str | None, options: ReadOptions) -> Reading:
    """The first reading with the sign that goes with the sense."""
    assert first.power_fringes is not None
    size, form = abs(first.power_fringes), first.form
    if form is not None and (sense == "edge") != (first.sense == "edge"):
        form = replace(form, values=-form.values)
    signed = replace(
        first,
        power_fringes=-size if sense == "edge" else size,
        sense=sense,
        sense_source=source,
        form=form,
    )
    return with_lengths(signed, options)

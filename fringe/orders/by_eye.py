"""A reading by eye, in words: rings counted, or the bow of fringes.

Rings: from one dark fringe to the next the gap grows by half a wavelength, so N rings from the
fringe centre to the edge are N fringes of power (Newton's rings, any textbook of optics).

Bow: on a work that leans, the gap is h = t x + N rho^2 fringes over the unit disc, with
straight fringes but for the power N. On the rim rho = 1, so there the fringe through the
middle lies at x = -N / t, exactly, while the mean distance of fringes along x is 1 / t: two
fringes of tilt for a diameter, the sphere being equal on both its ends. Bow over spacing is
therefore N, with the bow taken over the full diameter and the spacing along that through the
middle (worked out here; the rule is common practice). The ends bend toward the thin side of
the wedge, where N > 0: contact at the centre.

Direction: a lowered eye (2 h cos theta = m lambda) and a press at the middle make rings of the
same order move to where the gap is wider: outward with contact at the centre, inward with
contact at the edge (common practice).
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from fringe.errors import BadInput
from fringe.optics.iso10110 import iso10110_text
from fringe.orders.from_fit import with_lengths
from fringe.orders.reading import Quality, Reading
from fringe.quantity import half_width, standard

if TYPE_CHECKING:
    from fringe.orders.options import ReadOptions

# Half-width of the interval that holds the truth in 95 of 100 cases, where none is stated:
# a practised eye tells a quarter of a ring and a tenth of a spacing (common practice, no source).
ERRORS = {"rings": 0.25, "bow": 0.1}
_MOST = {"rings": 200.0, "bow": 10.0}
# An eye that looks from up to fifteen degrees off the normal sees up to 3.4 % too few fringes;
# root mean square of that for all shares alike (2 h cos theta = m lambda).
_VIEW_SHARE = (1 - math.cos(math.radians(15))) / math.sqrt(3)

_NUMBER = r"(?:\d+\s+\d+/\d+|\d+/\d+|(?:\d+[.,]?\d*|[.,]\d+))"
_TEXT = re.compile(
    rf"""^\s*(?P<what>rings?|bow)\s+(?P<value>{_NUMBER})
        (?:\s*(?:±|\+/?-)\s*(?P<error>{_NUMBER}))?
        (?P<of>\s+(?:of\s+)?(?:an?\s+|the\s+)?(?:spacings?|bands?|fringes?)\b)?
        [\s,;]*(?P<word>\S.*?)?\s*$""",
    re.VERBOSE | re.IGNORECASE,
)
_AT = r"(?:contact\s+)?(?:at\s+)?(?:the\s+)?"
_ENDS = r"ends\s+(?:bend\s+)?(?:to\s+|towards?\s+)?(?:the\s+)?"
_SIDE = r"(?:\s+(?:end|side))?"
_SENSES = {
    rf"{_AT}(?:centre|center|middle)": "centre",
    rf"{_AT}(?:edge|rim)": "edge",
    r"unknown|\?": "unknown",
}
_DIRECTIONS = {
    "rings": {"(?:run |move )?outwards?": "centre", "(?:run |move )?inwards?": "edge"},
    "bow": {f"{_ENDS}thin{_SIDE}": "centre", f"{_ENDS}thick{_SIDE}": "edge"},
}
HINT = (
    'write "rings 3.5 centre" or "bow 0.4 of spacing edge", with "+-0.2" after the number for '
    "another reading error"
)


def by_eye(text: str, options: ReadOptions) -> Reading:
    """Make a reading of what was seen by eye.

    Parameters
    ----------
    text : str
        ``rings N [WHERE]``, with N dark rings from the fringe centre to the edge, or
        ``bow N of spacing [WHERE]``, with the bow of the fringe through the middle over the
        full diameter. N is a decimal or a fraction, as `3.5`, `3,5`, `1/3`, `3 1/2`; `±E` or
        `+-E` after it states the reading error, a half-width of 95 % in the same measure.
        WHERE is `centre`, `edge` or `unknown`; or how it was seen: `outward` or `inward` as
        rings ran when the eye was lowered or the middle pressed; `ends thin` or `ends thick`
        for the side of the wedge that the ends of bowed fringes bend to.
    options : ReadOptions
        Lamp, diameter, plate and work are used, and the sense where the text has none.

    Returns
    -------
    Reading
        Power with its lengths; what needs a photograph is None, in `quality` NaN.
        `power_u_parts` has `eye`, the reading error, and `eye angle`, the unknown view.

    Raises
    ------
    BadInput
        If the text is none of these, or contradicts the options.
    """
    match = _TEXT.match(text)
    if match is None:
        raise BadInput(f"--by-eye: cannot read {text!r}; {HINT}")
    what = "bow" if match["what"].lower() == "bow" else "rings"
    if match["of"] and what == "rings":
        raise BadInput(f"--by-eye: rings are counted, not measured in spacings; {HINT}")
    seen = _number(match["value"], text)
    error = ERRORS[what] if match["error"] is None else _number(match["error"], text)
    if seen > _MOST[what]:
        raise BadInput(f"--by-eye: an eye cannot tell a {what} of {seen:g}; photograph it")
    if not 0 < error <= _MOST[what]:
        raise BadInput(f"--by-eye: a reading error of {error:g} is not possible; state one above 0")
    sense = _sense(what, match["word"], options, text)
    parts = {"eye": standard(error), "eye angle": _VIEW_SHARE * seen}
    u_power = math.hypot(*parts.values())
    wavelength = options.lamp.wavelength_nm
    reading = Reading(
        wavelength_nm=wavelength,
        quality=Quality(math.nan, math.nan, math.nan),
        power_fringes=-seen if sense == "edge" else seen,
        power_u95_fringes=half_width(u_power),
        sense=sense,
        sense_source=None if sense == "unknown" else "given",
        iso10110=iso10110_text(seen, None, None, wavelength),
        rings=int(seen) if what == "rings" else None,
        power_u_parts=parts,
        reading_id=f"by eye: {text}",
    )
    return with_lengths(reading, options)


def with_sense(text: str, sense: str) -> str:
    """Return the same words with another sense in place of the one that they say, if any.

    Parameters
    ----------
    text : str
        As :func:`by_eye` takes it; any other text is returned as it is.
    sense : {'centre', 'edge'}
        Where the contact is.
    """
    match = _TEXT.match(text)
    if match is None or match["word"] is None:
        return text
    return text[: match.start("word")] + sense


def _number(words: str, text: str) -> float:
    """Read a decimal, a fraction or both."""
    total = 0.0
    for word in words.replace(",", ".").split():
        top, _, bottom = word.partition("/")
        if bottom and int(bottom) == 0:
            raise BadInput(f"--by-eye: {text!r} divides by zero")
        total += float(top) / (float(bottom) if bottom else 1)
    return total


def _sense(what: str, word: str | None, options: ReadOptions, text: str) -> str:
    """Where the contact is, by the text or by the options."""
    given = options.sense if options.sense in ("centre", "edge") else "unknown"
    if word is None:
        return given
    for pattern, sense in {**_SENSES, **_DIRECTIONS[what]}.items():
        if re.fullmatch(pattern, word, re.IGNORECASE):
            if "unknown" not in (sense, given) and sense != given:
                raise BadInput(f"--by-eye: {text!r} contradicts --sense {given}")
            return given if sense == "unknown" else sense
    known = "centre, edge, unknown, " + (
        "outward, inward" if what == "rings" else "ends thin, ends thick"
    )
    raise BadInput(f"--by-eye: cannot read {word!r} in {text!r}; after the number comes {known}")

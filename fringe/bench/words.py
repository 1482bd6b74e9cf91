"""Messages of the library in the page's words: what to tap, where they name what to type.

The library says what to do by the options of the command line. The page has the same things under
the names that stand beside its fields; here is the one place that knows both.
"""

from __future__ import annotations

import re

# Whole advice, where what is done on the page is not the same as what is typed; the first one
# that fits counts.
_ADVICE = tuple(
    (re.compile(pattern), words)
    for pattern, words in (
        (
            r"give it with --edge CX,CY,R,? or --edge none when it is out of view",
            "drag the circle onto it, or tap Rings without an edge where it is out of view",
        ),
        (
            r"read with --edge none, or give the edge with --edge CX,CY,R",
            "tap Rings without an edge, or drag the circle onto the edge",
        ),
        (
            r"look at --picture, or give it with --edge\b(?: CX,CY,R)?",
            "look at the fitted fringes, or drag it",
        ),
        (r"give it with --edge(?: CX,CY,R)?", "drag the circle onto it"),
        (r"or give --edge [A-Z,]+", "or drag the edge onto it"),
        (r"; give the edge in pixels of this photograph", "; drag it back"),
        (r"--edge: B/A under 0\.3 is", "the edge: it is"),
        (r"look at --picture", "look at the fitted fringes"),
        (r"has no usual lamp; give --lamp NAME[^)]*\)", "has no usual lamp; choose one"),
        (r"give the lamp: --lamp NAME[^)]*\), or --surface", "choose the lamp"),
        (r"say(?: it with)? --sense\b", "say where they touch"),
        (r"say it in a visit of its own", "log it as a visit of its own"),
        (r"contradicts --sense (\w+)", r"contradicts the contact at the \1"),
        (r"--by-eye: cannot read .*", "seen by eye: say the number, as 3.5, and where they touch"),
        (r"log --replaces (\d+) --sense (\w+)", r"correct visit \1: contact at the \2"),
        (r"log --replaces (\d+) --minutes (\d+)", r"correct visit \1: \2 minutes"),
        (r"log it with --replaces (\d+)", r"correct visit \1 by them"),
        (r"`fringe log \.\.\. --replaces (\d+)`", r"a new correction of visit \1"),
        (r"; for one of your own add --stage-is grit or --stage-is polish", ""),
        (r"--aperture ([^ ,]+) reads it over the plate, --yes over the work", r"\1 is the circle"),
        (r"have no times that differ; give --times.*", "have no times that differ"),
        (r"; --yes logs it all the same", ""),
        (r"\(`fringe pair`\)", "(see Pair)"),
        (r"`fringe pair`", "Pair"),
        (r" \(`fringe turning`\)", ""),
        (r"`fringe settle` tells from photographs", "several photographs tell"),
        (r" \(fringe settle follows a drift\)", ""),
        (r"`fringe progress` lists them", "they are listed under Progress"),
        (r"`fringe surface add` makes one", "make one under More"),
        (r"`fringe instrument add` makes a record", "make a record under More, Instruments"),
        (r"; --replace writes over it", "; tick Write over it"),
        (r"\(--calibrated\)", "(Calibrated on)"),
        (r"--ring takes", "a ring has"),
        (r"or read rings without one with --edge none", "or tap Rings without an edge"),
        (r"; its frames are read as one with --burst", "; film it with Film"),
        (
            r"--burst: needs the edge in view; --edge none does not go with it",
            "a burst needs the edge in view; tap Find the edge, or drag the circle onto it",
        ),
        (r"--burst: (\d+) frames are too few for .*", r"\1 frames are too few; film it again"),
        (
            r"a clip is read with the extra `video`, which is not installed: .*",
            "what reads a film (the extra `video`) is not installed at the computer; send "
            "photographs",
        ),
        (r"`fringe log` adds one", "log one"),
        (r", see `fringe \w+`", ""),
        (r" \(see `fringe \w+`\)", ""),
        (r"read the plate's map with `?fringe turning[^`]*`?", "map the plate"),
        (r"--plate-turned 0deg", "say so at the computer"),
        (r"the spherometer needs its readings: .*", "the spherometer needs its readings"),
        (
            r"says both for each part, as .*",
            "says for each piece how long it was on top",
        ),
        (r", as --[a-z-]+ .*", ""),
    )
)

# What the options are called on the page.
_LABELS = {
    "against": "laid on",
    "aperture": "circle",
    "by": "who measured",
    "by-eye": "seen by eye",
    "camera": "camera",
    "camera-distance": "camera to work",
    "chamfer": "chamfer",
    "diameter": "diameter",
    "edge": "edge",
    "gap": "gap",
    "hours": "hours at the bench",
    "lamp": "lamp",
    "minutes": "minutes",
    "on-top": "on top",
    "pits": "pits",
    "place": "place of the plate",
    "plate": "plate",
    "plate-radius": "plate's radius",
    "radius": "radius",
    "reading-u": "uncertainty of a reading",
    "remark": "remark",
    "removed": "glass taken off",
    "replaces": "correction",
    "rested": "minutes since the lap",
    "sag-plate": "readings on the plate",
    "sag-work": "readings on the work",
    "scale": "scale",
    "sense": "contact",
    "spherometer": "spherometer",
    "stage": "work since the last visit",
    "stage-is": "what the stage is",
    "strike": "striking out",
    "surface": "surface",
    "temperature": "temperature",
    "tolerance-irregularity": "irregularity allowed",
    "tolerance-power": "power allowed",
    "tolerance-radius": "radius allowed",
    "when": "time of the visit",
    "zero": "readings on the flat",
}
# an option with its value, as `--gap 3um` or `--camera NAME`, or alone
_OPTION = re.compile(
    r"`?--([a-z][a-z-]*[a-z]|[a-z])(?: (?:[A-Z][A-Z_,=]*|\d[\w.,]*|'[^']*')\b'?)?`?"
)
_COMMAND = re.compile(r"`?\bfringe ((?:\w+ )?)[a-z]+(?: [^`]*)?`|`fringe \w+`")


def bench_words(text: str) -> str:
    """A message as the page says it.

    Parameters
    ----------
    text : str
        As the library says it, options and commands among the words.

    Examples
    --------
    >>> bench_words("the edge was not found; give it with --edge CX,CY,R")
    'the edge was not found; drag the circle onto it'
    >>> bench_words("--rested: nothing was read; give it with a photograph or a reading")
    'minutes since the lap: nothing was read; give it with a photograph or a reading'
    """
    if "--" not in text and "fringe " not in text:
        return text
    for pattern, words in _ADVICE:
        text = pattern.sub(words, text)
    text = _COMMAND.sub("the command line", text)
    return _OPTION.sub(lambda found: _LABELS.get(found[1], found[1].replace("-", " ")), text)

"""What `fringe help TOPIC` tells: one text file a topic, shipped with the package.

The files are Markdown of the simplest kind: headings, paragraphs, lists, indented or fenced
code, `code` and **bold**. A topic's first line is its heading, which lists show.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from fringe.errors import BadInput

# in the order in which a newcomer wants them
TOPICS = (
    "job",
    "photographing",
    "sense",
    "refusals",
    "numbers",
    "glossary",
    "budget",
    "json",
    "record",
    "python",
    "keyboard",
)


def topic_text(name: str, others: Iterable[str] = ()) -> str:
    """Return a topic's text, as Markdown.

    Raises
    ------
    BadInput
        If there is no such topic; the nearest name of all topics and `others` is proposed.
    """
    if name not in TOPICS:
        raise BadInput(f"there is no help on {name!r}; {_proposal(name, [*TOPICS, *others])}")
    return (Path(__file__).parent / f"{name}.md").read_text(encoding="utf-8")


def topic_heading(name: str) -> str:
    """Return the line that says what a topic is about."""
    return topic_text(name).partition("\n")[0].removeprefix("# ").replace("`", "")


def plain_text(markdown: str) -> str:
    """Return a topic's text without marks: headings underlined, code indented, no backticks."""
    rows: list[str] = []
    in_code = False
    for line in markdown.splitlines():
        if line.startswith("```"):
            in_code = not in_code
        elif in_code:
            rows.append(f"    {line}".rstrip())
        else:
            rows += _plain_lines(line)
    return "\n".join(rows) + "\n"


def _plain_lines(line: str) -> list[str]:
    bare = re.sub(r"`|\*\*", "", line)
    marks, _, heading = bare.partition(" ")
    if marks in ("#", "##"):
        return [heading, ("=" if marks == "#" else "-") * len(heading)]
    return [heading if marks == "###" else bare]


def _proposal(name: str, names: list[str]) -> str:
    from difflib import get_close_matches

    near = get_close_matches(name.lower(), names, n=1, cutoff=0.5)
    if near:
        return f"do you mean `fringe help {near[0]}`?"
    return "`fringe help` lists the topics"

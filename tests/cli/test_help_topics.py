"""`fringe help TOPIC`: what it lists, shows and refuses, with and without a terminal."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest

from calling import HEAVY, call, loaded, refused
from fringe.help import TOPICS, plain_text, topic_heading, topic_text
from fringe.judge.uncertainty.improve import ADVICE

FRINGE = Path(sys.executable).with_name("fringe")


def test_the_list_has_every_topic(capsys: pytest.CaptureFixture[str]) -> None:
    """`fringe help` lists each topic with its heading, one line each, and each has a file."""
    lines = call(capsys, "help").out.splitlines()
    assert [line.split()[0] for line in lines] == list(TOPICS)
    assert [line.partition("  ")[2].strip() for line in lines] == [
        topic_heading(name) for name in TOPICS
    ]
    assert call(capsys, "help", "--json").json["topics"] == {
        name: topic_heading(name) for name in TOPICS
    }
    files = Path(__file__).parents[2] / "fringe" / "help"
    assert {path.stem for path in files.glob("*.md")} == set(TOPICS)


@pytest.mark.parametrize("name", TOPICS)
def test_a_topic_is_printed_without_marks(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Into a pipe a topic is plain text of at most 80 columns, and with `--json` its source."""
    answer = call(capsys, "help", name)
    assert (answer.status, answer.err) == (0, "")
    assert answer.out.startswith(topic_heading(name) + "\n===")
    assert "`" not in answer.out
    assert "**" not in answer.out
    text = [line for line in answer.out.splitlines() if not line.startswith("    ")]
    assert max(map(len, text)) <= 80
    assert call(capsys, "help", name, "--json").json == {"topic": name, "text": topic_text(name)}


def test_a_topic_loads_nothing_heavy() -> None:
    """A topic comes at once: no numeric, archive or terminal library is loaded."""
    assert loaded("help", "record", "--json") & HEAVY == set()


def test_the_name_of_a_command_shows_its_help(capsys: pytest.CaptureFixture[str]) -> None:
    """`fringe help lamps` is what `fringe lamps --help` prints."""
    assert call(capsys, "help", "lamps").out == call(capsys, "lamps", "--help").out


@pytest.mark.parametrize(
    ("typed", "proposed"),
    [
        ("refusal", "`fringe help refusals`"),
        ("Record", "`fringe help record`"),
        ("progres", "`fringe help progress`"),
        ("xyzzy", "`fringe help` lists the topics"),
    ],
)
def test_an_unknown_topic_is_refused(
    typed: str, proposed: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A topic that there is none of is one line with the nearest name, and status 2."""
    assert proposed in refused(capsys, "help", typed)


def test_marks_become_plain_text() -> None:
    """Headings are underlined, code is indented, backticks and stars are gone."""
    source = "# `A` b\n\n**Bold** `x`\n\n## C\n\n```sh\nls `x`\n```\n\n### D\n"
    assert plain_text(source) == "A b\n===\n\nBold x\n\nC\n-\n\n    ls `x`\n\nD\n"


def on_a_terminal(columns: int, *words: str) -> str:
    """Return what the program prints on a terminal of so many columns, its pager `cat`."""
    ours, its = pty.openpty()
    env = os.environ | {"COLUMNS": str(columns), "LINES": "24", "PAGER": "cat", "TERM": "xterm"}
    env.pop("NO_COLOR", None)
    child = subprocess.Popen([FRINGE, *words], stdout=its, stdin=its, env=env, close_fds=True)
    os.close(its)
    parts = []
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:  # the other end is closed
            break
        if not part:
            break
        parts.append(part)
    os.close(ours)
    assert child.wait() == 0
    return b"".join(parts).decode()


@pytest.mark.parametrize("columns", [60, 80])
@pytest.mark.parametrize("name", ["keyboard", "glossary"])
def test_a_terminal_is_not_overrun(name: str, columns: int) -> None:
    """On a terminal a topic is wrapped to its width and loses no word, short or through a pager."""
    shown = re.sub(r"\x1b\[[0-9;]*m", "", on_a_terminal(columns, "help", name))
    assert max(len(line.rstrip()) for line in shown.splitlines()) <= columns
    words = set(re.findall(r"\w+", plain_text(topic_text(name))))
    assert words - set(re.findall(r"\w+", shown)) == set()


def test_budget_explains_every_input() -> None:
    """Each input that a budget may advise to better is a word of `fringe help budget`."""
    page = topic_text("budget")
    assert {name for name in ADVICE if f"`{name}`" not in page} == set()

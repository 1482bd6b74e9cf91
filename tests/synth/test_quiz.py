"""Questions for the eye: their physics, their answers, and the command that asks them."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
from PIL import Image

from calling import call, refused
from fringe.errors import BadInput
from fringe.optics.lamps import lamp
from fringe.synth.quiz import draw_question, mark, read_number, read_sense

QUIZ = ("synth", "--quiz", "--size", "130")


@pytest.fixture
def asked(tmp_path, monkeypatch, capsys):
    """Run the quiz in a folder of its own with these lines typed; return what was said."""
    monkeypatch.chdir(tmp_path)

    def run(typed, *words):
        monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        return call(capsys, *QUIZ, *words)

    return run


def test_pressing_tells_the_sense(rng):
    """Rings run outward where the contact is at the centre, inward at the edge (analytic)."""
    senses = set()
    rho2 = np.linspace(0.1, 1.0, 200)[:, None]
    turn = np.linspace(0, 2 * np.pi, 144, endpoint=False)
    u, v = np.sqrt(rho2) * np.cos(turn), np.sqrt(rho2) * np.sin(turn)
    for _ in range(40):
        if len(senses) == 2:
            break
        question = draw_question(rng, size=120)
        gaps = [frame.gap.fringes(u, v) for frame in question.frames]
        # the film is thinner by a fifth of a fringe from frame to frame, everywhere alike
        assert np.diff(gaps, axis=0) == pytest.approx(-0.2)
        # on the mean over all directions, which tilt and errors leave: gap = floor + power rho^2
        power, floor = zip(
            *(np.polyfit(rho2[:, 0], gap.mean(axis=1), 1) for gap in gaps), strict=True
        )
        order = floor[0] + 0.5 * power[0]
        ring2 = [(order - floor[k]) / power[k] for k in range(3)]
        outward = bool(np.all(np.diff(ring2) > 0))
        assert outward or np.all(np.diff(ring2) < 0)
        assert outward == (question.truth["sense"] == "centre")
        senses.add(question.truth["sense"])
    assert senses == {"centre", "edge"}


def test_frames_lie_side_by_side(rng):
    """The strip holds three frames of one size, alike but not the same."""
    question = draw_question(rng, size=150)
    assert len(question.frames) == 3
    assert question.strip.shape == (150, 3 * 150 + 2 * 12, 3)
    first, second = question.strip[:, :150], question.strip[:, 162:312]
    assert not np.array_equal(first, second)
    assert np.array_equal(first, question.frames[0].image)


def test_the_same_numbers_draw_the_same_question():
    """A question comes back with its seed."""
    one, two = (draw_question(np.random.default_rng(5), size=120) for _ in range(2))
    assert np.array_equal(one.strip, two.strip)
    assert one.truth == two.truth


def test_the_lamp_is_taken(rng):
    """A question is drawn in the light that is asked for."""
    question = draw_question(rng, lamp("mercury-green"), size=120)
    assert question.truth["wavelength_nm"] == pytest.approx(546.07, abs=0.01)


def test_too_small_a_frame(rng):
    """A frame in which no fringe can be seen is refused."""
    with pytest.raises(BadInput, match="120 to 2000"):
        draw_question(rng, size=50)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("3", 3.0),
        ("3.5", 3.5),
        ("3,5", 3.5),
        (" 1/4 ", 0.25),
        ("3 1/2", 3.5),
        ("−2", 2.0),
        ("+2", 2.0),
        (".5", 0.5),
        ("", None),
        ("?", None),
    ],
)
def test_numbers_as_they_are_said(text, value):
    """Decimal points and commas, fractions and signs are read; a sign counts for nothing."""
    assert read_number(text) == value


@pytest.mark.parametrize("text", ["many", "1/0", "3/", "1e3", "nan", "inf", "3.5.1", "1_0"])
def test_what_is_no_number(text):
    """What is not a number is refused by its own words."""
    with pytest.raises(BadInput):
        read_number(text)


@pytest.mark.parametrize(
    ("text", "sense"),
    [
        ("c", "centre"),
        ("Centre", "centre"),
        ("center", "centre"),
        ("e", "edge"),
        ("edge", "edge"),
        ("", None),
        ("?", None),
    ],
)
def test_senses_as_they_are_said(text, sense):
    """Either sense is read from its start; nothing is no answer."""
    assert read_sense(text) == sense
    with pytest.raises(BadInput):
        read_sense("left")


def test_marks(rng):
    """Marks are answer less truth of the magnitudes (analytic), and none for no answer."""
    question = draw_question(rng, size=120)
    truth = question.truth
    power, irregularity = abs(truth["power_fringes"]), truth["irregularity_fringes"]
    right = mark(question, power + 0.5, truth["sense"], irregularity)
    assert right.power_off == pytest.approx(0.5)
    assert (right.sense_right, right.irregularity_off) == (True, 0.0)
    other = "edge" if truth["sense"] == "centre" else "centre"
    wrong = mark(question, None, other, None)
    assert (wrong.power_off, wrong.sense_right, wrong.irregularity_off) == (None, False, None)


def test_a_round(asked, tmp_path):
    """A round shows a picture, asks three questions, and tells the truth of each."""
    answer = asked("2\nc\n1/4\n", "--rounds", "1", "--seed", "4")
    assert (answer.status, answer.err) == (0, "")
    truth = json.loads((tmp_path / "fringe-quiz" / "round-1-photo.json").read_text())
    for words in ("power, fringes", "contact at the centre or the edge", "irregularity, fringes"):
        assert words in answer.out
    assert f"contact       at the {truth['sense']}" in answer.out
    assert "1 answered: power" in answer.out
    assert "(seed 4)" in answer.out
    with Image.open(tmp_path / "fringe-quiz" / "round-1.png") as picture:
        assert picture.size == (3 * 130 + 24, 130)


def test_json(asked):
    """With --json the questions go to standard error, and the marks are one object."""
    answer = asked("2\nedge\n\n?\n?\n?\n", "--rounds", "2", "--seed", "4", "--json")
    first, second = answer.json["rounds"]
    truth = first["truth"]
    assert first["power_off_fringes"] == pytest.approx(2 - abs(truth["power_fringes"]))
    assert first["sense_right"] == (truth["sense"] == "edge")
    assert first["irregularity_off_fringes"] is None
    assert second["answer"] == dict.fromkeys(second["answer"])
    assert "1 of 2: look at" in answer.err


def test_a_slip_is_asked_again(asked):
    """An answer that cannot be read is told, and asked for once more."""
    answer = asked("many\n2\nleft\nc\n0,1\n", "--rounds", "1", "--json")
    assert "'many' is not a number of fringes" in answer.err
    assert "'left' is neither centre nor edge" in answer.err
    given = answer.json["rounds"][0]["answer"]
    assert (given["power_fringes"], given["sense"]) == (2.0, "centre")


def test_the_truth_is_not_there_before_the_answer(asked, tmp_path):
    """Whoever stops, or looks into the folder before answering, finds the picture alone."""
    answer = asked("2\nc\n", "--rounds", "3")
    assert answer.status == 0
    assert "stopped" in answer.err
    assert [path.name for path in (tmp_path / "fringe-quiz").iterdir()] == ["round-1.png"]


def test_the_folder(asked, capsys, tmp_path):
    """Pictures go where --out says; those of an older quiz are kept unless --force."""
    assert asked("\n\n\n", "--rounds", "1", "--out", "eye").status == 0
    assert (tmp_path / "eye" / "round-1.png").exists()
    assert "is there already" in refused(capsys, *QUIZ, "--out", "eye")
    assert asked("\n\n\n", "--rounds", "1", "--out", "eye", "--force").status == 0
    (tmp_path / "file").touch()
    assert "is not a folder" in refused(capsys, *QUIZ, "--out", "file")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((*QUIZ, "--power", "3"), "--power: the quiz draws that itself"),
        ((*QUIZ, "--pair", "press"), "--pair: the quiz draws that itself"),
        ((*QUIZ, "--grey"), "--grey: the quiz draws that itself"),
        (("synth", "--quiz", "--size", "9"), "120 to 2000"),
        ((*QUIZ, "--lamp", "moon"), "no lamp named"),
        (("synth", "--out", "a.png", "--rounds", "3"), "--rounds: belongs to --quiz"),
        (("synth",), "--out: say where"),
    ],
)
def test_words_that_do_not_fit(asked, capsys, words, says):
    """What the quiz draws itself cannot be given, and its own words belong to it."""
    assert says in refused(capsys, *words)

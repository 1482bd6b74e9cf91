"""`fringe turning`: the work's form and the plate's, from photographs with the work turned."""

from __future__ import annotations

import pytest

from calling import call


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """A work with 0.4 fringes of astigmatism on a perfect plate, at 0 and at 90 degrees."""
    from fringe.cli import main

    folder = tmp_path_factory.mktemp("turning")
    for angle in (0, 90):
        with pytest.raises(SystemExit) as stopped:
            main(
                f"synth --out {folder}/t{angle}.png --power 2 --tilt 2 --astigmatism 0.4 "
                f"--angle {angle} --size 420 --seed {angle + 1}".split()
            )
        assert not stopped.value.code
    return [folder / "t0.png", folder / "t90.png"]


def test_the_work_is_told_from_the_plate(photos, capsys):
    """Astigmatism that turns with the work is the work's; the plate is left without any."""
    words = ("turning", *photos, "--turned", "0deg", "--turned", "90°", "--lamp", "sodium")
    values = call(capsys, *words, "--sense", "centre", "--json").json
    work, plate = values["work"], values["plate"]
    assert abs(work["astigmatism_fringes"] - 0.4) <= work["astigmatism_u95_fringes"] < 0.1
    assert plate["astigmatism_fringes"] <= plate["astigmatism_u95_fringes"] < 0.1
    assert values["undetermined_frequencies"] == [4, 8]
    assert values["agrees"] is True
    text = call(capsys, *words, "--sense", "centre").out
    assert "2 positions of the work, at 589.2 nm" in text
    assert "waves of 4, 8 a turn stay undetermined" in text


def test_an_angle_a_photograph(photos, capsys):
    """Without one angle a photograph nothing is read; the line says how to write them."""
    told = call(capsys, "turning", *photos, "--turned", "0deg", "--lamp", "sodium")
    assert (told.status, told.out) == (2, "")
    assert "--turned: 1 angles for 2 photographs; give one each" in told.err
    assert told.err.count("\n") == 1

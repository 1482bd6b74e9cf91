"""`fringe surface` as a person and a program call it."""

from __future__ import annotations

import json

import pytest

from calling import call
from fringe.archive.store.surface import load_surface
from fringe.cli import main

ADD = ("add", "shop", "concave 1", "--form", "concave", "--radius", "120in", "--diameter", "6in")


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    """Run `fringe surface` in an empty folder; return status, standard output and error."""
    monkeypatch.chdir(tmp_path)

    def call(*words):
        with pytest.raises(SystemExit) as stop:
            main(["surface", *words])
        out, err = capsys.readouterr()
        return int(stop.value.code or 0), out, err

    return call


def added(run, *words):
    """Add a surface and return its JSON."""
    code, out, err = run(*ADD, *words, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def test_add_keeps_all_options(run, tmp_path):
    """Every option of `add` ends in the record, lengths in millimetres."""
    values = added(
        run,
        "--radius-u",
        "0.5mm",
        "--plate",
        "P7",
        "--plate-radius",
        "3048.6mm",
        "--plate-radius-u",
        "200um",
        "--tolerance-power",
        "2",
        "--tolerance-irregularity",
        "0,3",
        "--tolerance-radius",
        "3mm",
        "--lamp",
        "sodium",
        "--glass",
        "borosilicate",
        "--note",
        "second",
        "--rule",
        "shrinkU",
    )
    surface = load_surface(tmp_path / values["folder"])
    assert (surface.name, surface.form) == ("concave 1", "concave")
    assert surface.radius_mm == pytest.approx(3048.0, rel=1e-12)
    assert surface.diameter_mm == pytest.approx(152.4, rel=1e-12)
    assert surface.radius_u_mm == 0.5
    assert (surface.plate.name, surface.plate.radius_mm) == ("P7", 3048.6)
    assert surface.plate.radius_u_mm == pytest.approx(0.2)
    limits = surface.tolerance
    assert (limits.power_fringes, limits.irregularity_fringes) == (2.0, 0.3)
    assert (limits.radius_difference_mm, limits.rule) == (3.0, "shrinkU")
    assert limits.wavelength_nm == pytest.approx(589.29, abs=0.2)
    assert (surface.lamp, surface.glass, surface.note) == ("sodium", "borosilicate", "second")


@pytest.mark.parametrize(
    ("words", "wavelength"),
    [
        ((), 546.07),  # from memory: ISO 7944's e line, the default of ISO 10110
        (("--lamp", "hene"), 632.8),
        (("--lamp", "led:525:30"), 525.0),
        (("--lamp", "hene", "--tolerance-wavelength", "500nm"), 500.0),
    ],
)
def test_fringes_have_a_wavelength(run, words, wavelength):
    """The tolerance's wavelength is the one given, else the lamp's, else the e line's."""
    assert added(run, *words)["tolerance"]["wavelength_nm"] == pytest.approx(wavelength, abs=0.05)


@pytest.mark.parametrize(("text", "limit"), [("0.1%", 3.048), ("0,1 %", 3.048), ("2.5mm", 2.5)])
def test_a_radius_tolerance_is_a_length_or_a_share(run, text, limit):
    """A share is of the nominal radius."""
    tolerance = added(run, "--tolerance-radius", text)["tolerance"]
    assert tolerance["radius_difference_mm"] == pytest.approx(limit)


def test_the_plates_own_record(run, tmp_path):
    """A plate that the archive knows brings its radius; one of the work's own form is refused."""
    from fringe.archive.instruments import add_instrument

    known = {"form": "convex", "radius_mm": 3048.6, "u_radius_mm": 0.2}
    add_instrument(tmp_path / "shop", "plate", "P7", known)
    plate = added(run, "--plate", "P7")["plate"]
    assert plate == {"name": "P7", "radius_mm": 3048.6, "radius_u_mm": 0.2}
    code, _, err = run(
        "add",
        "shop",
        "x",
        "--form",
        "convex",
        "--radius",
        "3m",
        "--diameter",
        "6in",
        "--plate",
        "P7",
    )
    assert code == 2
    assert "do not fit together" in err


def test_another_radius_drops_the_records_uncertainty(run, tmp_path):
    """A radius given beside the plate's name does not keep the record's uncertainty."""
    from fringe.archive.instruments import add_instrument

    known = {"form": "convex", "radius_mm": 3048.6, "u_radius_mm": 0.2}
    add_instrument(tmp_path / "shop", "plate", "P7", known)
    plate = added(run, "--plate", "P7", "--plate-radius", "3047mm")["plate"]
    assert plate == {"name": "P7", "radius_mm": 3047.0}
    code, out, _ = run("change", "shop/concave 1", "--plate", "P7", "--json")
    assert code == 0  # the record is asked again
    assert json.loads(out)["plate"] == {"name": "P7", "radius_mm": 3048.6, "radius_u_mm": 0.2}


def test_show_says_everything(run):
    """`show` names form, lengths, plate, tolerance with its wavelength and rule, and version."""
    added(
        run,
        "--plate",
        "P7",
        "--plate-radius",
        "3048.6mm",
        "--plate-radius-u",
        "0.2mm",
        "--tolerance-power",
        "2",
        "--glass",
        "borosilicate",
    )
    code, out, err = run("show", "shop/concave 1")
    assert (code, err) == (0, "")
    expected = (
        "concave 1",
        "radius 3048 mm",
        "aperture 152.4 mm",
        "P7, radius 3048.6 ± 0.4 mm",
        "power ±2 fringes",
        "546.07 nm",
        "guard95",
        "borosilicate",
        "version 1",
    )
    for words in expected:
        assert words in out


def test_change_writes_a_version(run, tmp_path):
    """`change` alters what is given and nothing else; the old version can be shown."""
    before = added(
        run,
        "--tolerance-power",
        "2",
        "--plate",
        "P7",
        "--plate-radius",
        "3048mm",
        "--plate-radius-u",
        "0.2mm",
    )
    code, out, _ = run(
        "change",
        "shop/concave 1",
        "--tolerance-power",
        "1.5",
        "--plate-radius",
        "3047.9mm",
        "--json",
    )
    assert code == 0
    after = json.loads(out)
    assert after["version"] == 2
    assert after["tolerance"] == before["tolerance"] | {"power_fringes": 1.5}
    assert after["plate"] == {"name": "P7", "radius_mm": 3047.9}  # the old uncertainty is not its
    _, out, _ = run("show", "shop/concave 1", "--version", "1", "--json")
    assert json.loads(out) == before


def test_change_of_nothing(run, tmp_path):
    """`change` without an option is refused; with the same values it writes no version."""
    added(run, "--glass", "crown")
    assert run("change", "shop/concave 1")[0] == 2
    assert run("change", "shop/concave 1", "--glass", "crown")[0] == 0
    assert run("show", "shop/concave 1", "--version", "2")[0] == 2


def test_list_names_all(run, tmp_path):
    """`list` shows every surface; a damaged record is named and hides no other."""
    added(run)
    run("add", "shop", "[red]convex/1", "--form", "convex", "--radius", "3m", "--diameter", "6in")
    code, out, err = run("list", "shop")
    assert (code, err) == (0, "")
    assert "concave 1" in out
    assert "[red]convex/1" in out
    path = tmp_path / json.loads(run("show", "shop/concave 1", "--json")[1])["folder"]
    (path / "surface-0001.json").write_text("{}")
    code, out, err = run("list", "shop")
    assert code == 0
    assert "convex/1" in out
    assert "surface-0001.json" in err
    assert len(json.loads(run("list", "shop", "--json")[1])["problems"]) == 1


def test_an_empty_archive(run, tmp_path):
    """`list` of an archive without surfaces says so."""
    (tmp_path / "empty").mkdir()
    code, out, _ = run("list", "empty")
    assert code == 0
    assert "no surface yet" in out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("add", "shop", "x", "--form", "convex", "--radius", "3m"), "needs --radius and"),
        (
            ("add", "shop", "x", "--form", "convex", "--radius", "3", "--diameter", "6in"),
            "--radius: '3' has no unit",
        ),
        (("add", "shop", "", "--form", "convex", "--radius", "3m", "--diameter", "6in"), "empty"),
        (
            ("add", "shop", "x", "--form", "convex", "--radius", "3m", "--diameter", "7m"),
            "does not fit",
        ),
        ((*ADD, "--tolerance-radius", "150%"), "not a share"),
        ((*ADD, "--tolerance-radius", "%"), "not a number"),
        ((*ADD, "--tolerance-power", "-1"), "greater than zero"),
        ((*ADD, "--lamp", "candle"), "candle"),
        (("show", "shop/concave 2"), "shop/concave 2"),
        (("list", "nowhere"), "no such archive"),
    ],
)
def test_one_line_of_refusal(run, tmp_path, words, message):
    """A mistake is one line on standard error, status 2, JSON with `error`, and no file."""
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert message in err
    assert len(err.splitlines()) == 1
    code, out, _ = run(*words, "--json")
    assert code == 2
    assert message in json.loads(out)["error"]
    assert list(tmp_path.iterdir()) == []


def test_a_name_is_given_once(run):
    """A second surface of the same name is refused."""
    added(run)
    code, _, err = run(*ADD)
    assert code == 2
    assert "already" in err


def test_a_certificate_is_kept_as_it_was_typed(tmp_path, capsys):
    """The record shows expanded uncertainties as typed, the plate's as well, until they change.

    Half of what covers 95 % by k = 2 is the standard uncertainty (analytic).
    """
    plate = "3048.60 +- 0.30 mm (k=2)"
    call(capsys, "instrument", "add", "plate", tmp_path, "P7", "--form", "concave",
         "--radius", plate)  # fmt: skip
    add = ("surface", "add", tmp_path, "one", "--form", "convex", "--diameter", "150mm", "--plate",
           "P7", "--radius", "(3048,6 ± 0,5) mm, 95 %", "--json")  # fmt: skip
    typed = "--radius (3048,6 ± 0,5) mm, 95 %"
    assert call(capsys, *add).json["as_typed"] == f"{typed}; --plate-radius {plate}"
    change = ("surface", "change", tmp_path / "one")
    for words, left in (
        (("--note", "a"), f"{typed}; --plate-radius {plate}"),
        (("--radius-u", "0.4mm; k=2"), f"--radius-u 0.4mm; k=2; --plate-radius {plate}"),
        (("--plate-radius", "3048.4mm"), "--radius-u 0.4mm; k=2"),
        (("--radius-u", "0.2mm"), None),
    ):
        record = call(capsys, *change, *words, "--json").json
        assert record.get("as_typed") == left
    assert record["radius_u_mm"] == pytest.approx(0.2)
    shown = call(capsys, "surface", "show", tmp_path / "one", "--version", "1").out
    assert f"as typed           {typed}; --plate-radius 3048.60" in shown
    assert "as typed" not in call(capsys, "surface", "show", tmp_path / "one").out

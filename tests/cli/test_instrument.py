"""`fringe instrument`: records made, listed and shown by command."""

from __future__ import annotations

import tomllib

import pytest

from calling import HEAVY, call, loaded, refused

ADD = {
    "plate": (
        "--form",
        "concave",
        "--radius",
        "120in",
        "--radius-u",
        "0.3mm",
        "--how",
        "bench",
        "--form-u",
        "20nm",
        "--sphericity",
        "grating lines straight",
    ),
    "spherometer": (
        "--legs",
        "50mm,50.1mm,49.9mm",
        "--ball",
        "1/4in",
        "--reading-u",
        "0.5um",
        "--calibrated",
        "2026-03-14",
        "--drift",
        "0.25um",
    ),
    "camera": ("--distance", "900mm", "--scale", "12"),
    "lamp": (
        "--line",
        "546.07:1:10",
        "--line",
        "577",
        "--wavelength-u",
        "0.5nm",
        "--source",
        "label",
    ),
}
VALUES = {
    "plate": {"form": "concave", "radius_mm": 3048.0, "u_radius_mm": 0.3, "how_known": "bench",
              "u_form_nm": pytest.approx(20.0), "sphericity": "grating lines straight"},
    "spherometer": {"legs_mm": [50.0, 50.1, 49.9], "ball_diameter_mm": 6.35, "u_reading_um": 0.5,
                    "calibrated": "2026-03-14", "u_drift_um_per_year": pytest.approx(0.25)},
    "camera": {"distance_mm": 900.0, "scale_px_per_mm": 12.0},
    "lamp": {"lines": [{"wavelength_nm": 546.07, "weight": 1.0, "fwhm_nm": 10.0},
                       {"wavelength_nm": 577.0, "weight": 1.0}],
             "u_wavelength_nm": pytest.approx(0.5), "source": "label"},
}  # fmt: skip


@pytest.mark.parametrize("kind", ADD)
def test_add_show_list(kind, tmp_path, capsys):
    """What is added is in the file, is shown, and is listed, with its values in millimetres."""
    made = call(capsys, "instrument", "add", kind, tmp_path, "No 7", *ADD[kind], "--json").json
    with open(made["path"], "rb") as file:
        stored = tomllib.load(file)
    for record in (
        stored,
        call(capsys, "instrument", "show", tmp_path, kind, "No 7", "--json").json,
        call(capsys, "instrument", "list", tmp_path, "--json").json["instruments"][0],
    ):
        fixed = {key: record.pop(key) for key in ("kind", "name")}
        assert fixed == {"kind": kind, "name": "No 7"}
        assert len(record.pop("added")) == len("2026-01-01")
        assert record == VALUES[kind]


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("plate", "concave, radius 3048.0 ± 0.6 mm"),
        ("spherometer", "balls of 6.35 mm"),
        ("camera", "900 mm away, 12 px/mm"),
        ("lamp", "546.07 nm + 577 nm"),
    ],
)
def test_text(kind, words, tmp_path, capsys):
    """Each kind says what matters of it in a few words, added, listed and shown."""
    added = call(capsys, "instrument", "add", kind, tmp_path, "No 7", *ADD[kind]).out
    listed = call(capsys, "instrument", "list", tmp_path).out
    shown = call(capsys, "instrument", "show", tmp_path, kind, "No 7").out
    for text in (added, listed, shown):
        assert words in text
    assert str(tmp_path) in shown


def test_uncertainties_and_both_edges_are_shown(tmp_path, capsys):
    """A camera's uncertainties and a ring's two edges are shown with their values."""
    add = ("instrument", "add")
    camera = call(
        capsys,
        *add,
        "camera",
        tmp_path,
        "top",
        "--distance",
        "900mm",
        "--distance-u",
        "5mm",
        "--scale",
        "12",
        "--scale-u",
        "0.1",
    ).out
    assert "900 ± 10 mm away, 12.00 ± 0.20 px/mm" in camera
    ring = call(capsys, *add, "spherometer", tmp_path, "ring", "--ring", "100mm,4 1/4in").out
    assert "ring 100 / 107.95 mm" in ring


def test_empty_archive(tmp_path, capsys):
    """An archive without instruments says so."""
    assert "no instruments on record yet" in call(capsys, "instrument", "list", tmp_path).out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("add", "plate", "@", "x", "--form", "concave"), "--radius"),
        (("add", "plate", "@", "x", "--form", "flat", "--radius", "1m"), "flat"),
        (("add", "spherometer", "@", "x"), "one of ring_inner_mm"),
        (("add", "spherometer", "@", "x", "--ring", "1mm,2mm,3mm"), "inner and an outer"),
        (("add", "camera", "@", "x"), "distance or its scale"),
        (("add", "lamp", "@", "x", "--line", "green", "--source", "y"), "is not a line"),
        (("add", "lamp", "@", "x", "--line", "5", "--source", "y"), "200 and 2500"),
        (("add", "lamp", "@", "Sodium", "--line", "546", "--source", "y"), "a name of its own"),
        (
            ("add", "plate", "@", "x", "--form", "convex", "--radius", "5cm", "--diameter", "11cm"),
            "does not lie on a sphere",
        ),
        (("show", "@", "plate", "x"), "none yet"),
        (("list", "@/gone"), "no such archive"),
    ],
)
def test_nonsense(words, message, tmp_path, capsys):
    """What is missing or makes no sense gets one clear line, and nothing is written."""
    typed = [word.replace("@", str(tmp_path)) for word in words]
    assert message in refused(capsys, "instrument", *typed)
    assert list(tmp_path.iterdir()) == []


def test_replace(tmp_path, capsys):
    """A name that is taken is refused until --replace."""
    words = ("instrument", "add", "camera", tmp_path, "top")
    assert call(capsys, *words, "--scale", "12").status == 0
    assert "--replace" in refused(capsys, *words, "--scale", "13")
    assert call(capsys, *words, "--scale", "13", "--replace").status == 0
    shown = call(capsys, "instrument", "show", tmp_path, "camera", "top", "--json").json
    assert shown["scale_px_per_mm"] == 13.0


def test_starts_light(tmp_path):
    """Writing and listing records loads no numpy and nothing that is heavier."""
    assert (
        loaded("instrument", "add", "camera", str(tmp_path), "a", "--scale", "9") & HEAVY == set()
    )
    assert loaded("instrument", "list", str(tmp_path)) & HEAVY == set()


def test_a_certificate_as_it_is_printed(tmp_path, capsys):
    """An expanded uncertainty is divided by its factor, and its text is kept (analytic)."""
    add = ("instrument", "add", "plate", tmp_path)
    line = "3048.60 +- 0.30 mm (k=2)"
    record = call(
        capsys, *add, "P7", "--form", "concave", "--radius", line, "--form-u", "20nm 95%", "--json"
    ).json
    assert record["radius_mm"] == pytest.approx(3048.6)
    assert record["u_radius_mm"] == pytest.approx(0.15)
    assert record["u_form_nm"] == pytest.approx(20 / 1.959964, rel=1e-6)
    assert record["as_typed"] == f"--radius {line}; --form-u 20nm 95%"
    with open(record["path"], "rb") as file:
        assert tomllib.load(file)["as_typed"] == record["as_typed"]
    bare = ("P8", "--form", "concave", "--radius", "3048.6mm", "--radius-u", "0.3mm", "--json")
    plain = call(capsys, *add, *bare).json
    assert (plain["u_radius_mm"], "as_typed" in plain) == (pytest.approx(0.3), False)


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("--radius", "3048.6 +- 0.3 mm"), "does not say what it covers"),
        (
            ("--radius", "3048.6 +- 0.3 mm (k=2)", "--radius-u", "0.15mm"),
            "its uncertainty is given twice",
        ),
        (("--radius", "3048.6mm", "--radius-u", "+-0.3mm"), "does not say what it covers"),
    ],
)
def test_certificates_that_are_refused(words, reason, tmp_path, capsys):
    """What may be standard or expanded, or is given twice, is refused and not written."""
    add = ("instrument", "add", "plate", tmp_path / "bench", "P7", "--form", "concave")
    assert reason in refused(capsys, *add, *words)
    assert not (tmp_path / "bench").exists()


def test_a_date_of_calibration(tmp_path, capsys):
    """A drift needs the date that it counts from; a date typed by hand in TOML is read, too."""
    add = ("instrument", "add", "spherometer", tmp_path, "three", "--legs", "50mm")
    assert "give calibrated" in refused(capsys, *add, "--drift", "0.3um")
    assert "must be a date" in refused(capsys, *add, "--calibrated", "last year")
    made = call(capsys, *add, "--calibrated", "2024-01-01", "--json").json
    with open(made["path"], "r+", encoding="utf-8") as file:
        text = file.read().replace('"2024-01-01"', "2024-01-01")
        assert "calibrated = 2024-01-01" in text
        file.seek(0)
        file.write(text)
        file.truncate()
    shown = call(capsys, "instrument", "show", tmp_path, "spherometer", "three", "--json").json
    assert shown["calibrated"] == "2024-01-01"

"""`fringe lamps` as a person and a program call it."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from fringe.cli import main
from fringe.optics.lamps import lamp, lamp_names


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """Run the command line; return exit status, standard output and standard error."""
    with pytest.raises(SystemExit) as stop:
        main(["lamps", *words])
    out, err = capsys.readouterr()
    return int(stop.value.code or 0), out, err


def test_plain_listing_names_every_lamp(capsys):
    """The table has a row for each lamp, with its wavelength, and tells of LEDs."""
    code, out, err = run(capsys)
    assert (code, err) == (0, "")
    for name in lamp_names():
        row = next(line for line in out.splitlines() if line.startswith(f"{name} "))
        assert f"{lamp(name).wavelength_nm:.3f}" in row
    assert "led:525:30" in out


def test_one_lamp_shows_lines_and_source(capsys):
    """A named lamp shows each line, its share, and where the figures come from."""
    code, out, _ = run(capsys, "sodium")
    assert code == 0
    for words in ("588.9951", "67 %", "589.5924", "33 %", "uncertainty", "HyperPhysics"):
        assert words in out


def test_json_is_one_object_with_the_tables_values(capsys):
    """`--json` prints one object, from which the lamp can be made again."""
    code, out, err = run(capsys, "--json")
    assert (code, err) == (0, "")
    lamps = json.loads(out)["lamps"]
    assert [one["name"] for one in lamps] == lamp_names()
    assert [one["wavelength_nm"] for one in lamps] == [lamp(x).wavelength_nm for x in lamp_names()]


def test_unknown_lamp_is_one_line_and_status_2(capsys):
    """A lamp that is not there ends with status 2, one line, and an error object in JSON."""
    code, out, err = run(capsys, "candle", "--json")
    assert code == 2
    assert err == (
        "fringe: no lamp named 'candle'; the lamps are "
        + ", ".join(lamp_names())
        + ", or led:PEAK_NM:FWHM_NM as led:525:30\n"
    )
    assert json.loads(out)["error"] in err


def test_listing_loads_neither_numpy_nor_rich():
    """The listing starts at once: no numpy, no rich."""
    code = (
        "import sys\n"
        "from fringe.cli import main\n"
        "try:\n    main(['lamps'])\nexcept SystemExit as stop:\n    assert not stop.code\n"
        "sys.exit(bool({'numpy', 'scipy', 'rich'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert done.returncode == 0

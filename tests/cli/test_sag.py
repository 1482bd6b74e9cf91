"""`fringe sag`: plate and work on a spherometer."""

from __future__ import annotations

import pytest

from calling import HEAVY, call, loaded, refused

TRADE = ("--plate", "808um", "--work", "793um")
PLATE = ("--plate-radius", "3048mm")


@pytest.mark.parametrize(
    ("work", "first"),
    [
        ("793um", "The work is too shallow by 15.0 ± 2.8 µm"),
        ("820um", "The work is too deep by 12.0 ± 2.8 µm"),
        ("808um", "The work equals the plate within the spherometer's reach: 0.0 ± 2.8 µm"),
    ],
)
def test_answer_comes_first(work, first, capsys):
    """The trade's example: 15 too shallow, 12 too deep; one count of the last digit assumed."""
    text = call(capsys, "sag", "--plate", "808um", "--work", work, *PLATE).out
    assert text.splitlines()[0] == first
    assert "each reading is taken as good to ±1 µm" in " ".join(text.split())


def test_json_has_everything(capsys):
    """The JSON has depth, radii, gap, rings and budgets with their 95 % half-widths."""
    values = call(
        capsys,
        "sag",
        *TRADE,
        *PLATE,
        "--plate-radius-u",
        "0.3mm",
        "--diameter",
        "150mm",
        "--lamp",
        "sodium",
        "--scale",
        "12",
        "--reading-u",
        "0.3um",
        "--json",
    ).json
    assert values["depth_difference_um"] == pytest.approx(-15.0)
    assert values["depth_difference_u95_um"] == pytest.approx(1.96 * 0.3 * 6**0.5, rel=1e-3)
    assert values["work_radius_mm"] == pytest.approx(3048 * 808 / 793, rel=1e-4)
    assert values["radius_difference_mm"] == pytest.approx(values["work_radius_mm"] - 3048)
    assert values["power_fringes"] < 0
    assert values["near_enough"] == "yes"
    assert values["rings_readable"] == pytest.approx(150 / 2 * 12 / 8)
    assert values["rings_limited_by"] == "camera"
    assert values["overlap_fringes"] == [
        pytest.approx(values["power_u95_fringes"]),
        values["rings_readable"],
    ]
    assert set(values["budgets"]) == {"depth", "work_radius", "radius_difference"}


def test_a_narrow_lamp_leaves_the_limit_to_the_camera(capsys):
    """With a lamp that sets no limit no number of rings is made up; the camera is asked for."""
    words = ("sag", *TRADE, *PLATE, "--diameter", "150mm", "--lamp", "sodium")
    values = call(capsys, *words, "--json").json
    assert values["near_enough"] == "yes"
    assert (values["rings_readable"], values["rings_limited_by"]) == (None, None)
    assert values["overlap_fringes"] == [pytest.approx(values["power_u95_fringes"]), None]
    text = call(capsys, *words).out
    assert "expected: near enough for this lamp" in text
    assert "give --scale or --camera" in text
    assert "20000" not in text


@pytest.mark.parametrize(
    ("work", "contact"), [("793um", True), ("820um", True), ("807um", False), ("808um", False)]
)
def test_contact_is_told_only_beyond_the_uncertainty(work, contact, capsys):
    """Where the contact is, the spherometer says only when it tells the two radii apart."""
    text = call(
        capsys,
        "sag",
        "--plate",
        "808um",
        "--work",
        work,
        *PLATE,
        "--diameter",
        "150mm",
        "--wavelength",
        "589.3nm",
    ).out
    assert ("contact at the" in text) == contact


def test_repeats_signs_and_a_zero(capsys):
    """Repeated readings, signs and a reading of the zero go into the mean (analytic)."""
    values = call(
        capsys,
        "sag",
        "--plate=-807um,-808um",
        "--plate=-809um",
        "--work",
        "793um,795um",
        "--zero",
        "1um",
        *PLATE,
        "--json",
    ).json
    assert values["plate_sagitta_um"] == pytest.approx(809.0)
    assert values["work_sagitta_um"] == pytest.approx(793.0)
    assert values["depth_difference_um"] == pytest.approx(-16.0)


def test_the_trap_is_said(capsys):
    """Equal readings on ball feet: the radii differ by the balls' diameter, and that is said."""
    words = (
        "sag",
        "--plate",
        "2mm",
        "--work",
        "2mm",
        "--form",
        "concave",
        "--foot-circle",
        "40mm",
        "--ball",
        "6.35mm",
    )
    values = call(capsys, *words, "--json").json
    assert values["radius_difference_mm"] == pytest.approx(6.35)
    assert values["equal_readings_radius_difference_mm"] == pytest.approx(6.35)
    text = " ".join(call(capsys, *words).out.split())
    assert "equal readings would not be equal radii: the work's would be 6.35 mm larger" in text


def test_digits_of_the_readings(capsys):
    """Readings to half a micrometre are taken as good to a tenth; --reading-u says otherwise."""
    fine = call(capsys, "sag", "--plate", "808um,807.5um", "--work", "793um", "--json").json
    assert "±0.1 µm" in fine["notes"][0]
    given = call(capsys, "sag", *TRADE, "--reading-u", "2um", "--json").json
    assert given["depth_difference_u95_um"] == pytest.approx(1.96 * 2 * 6**0.5, rel=1e-3)


def test_inches_and_three_legs(capsys):
    """Inches, fractions and a tenth of a thou read as their millimetres."""
    values = call(
        capsys, "sag", "--plate", "0.0318in", "--work", "0.0312in", "--legs", "4 3/4in", "--json"
    ).json
    assert values["plate_sagitta_um"] == pytest.approx(807.72)
    a2 = (4.75 * 25.4) ** 2 / 3
    assert values["plate_radius_mm"] == pytest.approx(0.80772 / 2 + a2 / (2 * 0.80772))


def test_records_of_the_archive(tmp_path, capsys):
    """Spherometer, plate, camera and lamp come from their records."""
    made = [
        ("plate", "seven", "--form", "concave", "--radius", "3048mm", "--radius-u", "0.3mm"),
        (
            "spherometer",
            "balls",
            "--foot-circle",
            "140mm",
            "--ball",
            "6.35mm",
            "--size-u",
            "20um",
            "--reading-u",
            "0.5um",
        ),
        ("camera", "top", "--scale", "12"),
        ("lamp", "green", "--line", "546.07:1:10", "--source", "label"),
    ]
    for kind, name, *options in made:
        assert call(capsys, "instrument", "add", kind, tmp_path, name, *options).status == 0
    values = call(
        capsys,
        "sag",
        "--plate",
        "806um",
        "--work",
        "803um",
        "--archive",
        tmp_path,
        "--spherometer",
        "balls",
        "--plate-name",
        "seven",
        "--camera",
        "top",
        "--lamp",
        "green",
        "--diameter",
        "160mm",
        "--json",
    ).json
    assert values["method"] == "plate"
    assert values["wavelength_nm"] == pytest.approx(546.07)
    assert values["rings_limited_by"] == "lamp"
    assert values["equal_readings_radius_difference_mm"] == pytest.approx(-6.35, rel=1e-3)


def test_budget_tables(capsys):
    """--budget adds a table to each result, largest share first."""
    text = call(capsys, "sag", *TRADE, *PLATE, "--budget").out
    assert "\ndepth −15.0 ± 2.8 µm (95 %)\n" in text
    zero, plate = text.index("  zero  "), text.index("  plate reading  ")
    assert zero < plate
    assert "67 %" in text  # the zero counts twice: 4 parts of 6
    assert "0.58 µm" in text  # a count of a micrometre over the root of three
    assert "50000 draws agree with first order" in text


@pytest.mark.parametrize("width", [60, 80, 100])
def test_budget_tables_fit_the_terminal(width, capsys, monkeypatch):
    """At each width a table keeps its rows, intervals and shares; what they repeat goes first."""
    monkeypatch.setenv("COLUMNS", str(width))
    rows = call(capsys, "sag", *TRADE, *PLATE, "--budget").out.split("\n")
    heads = [place for place, row in enumerate(rows) if row.startswith("  input ")]
    assert len(heads) > 1
    for place in heads:
        end = next(k for k in range(place, len(rows)) if rows[k].startswith("  together"))
        table = rows[place : end + 1]
        assert max(map(len, table)) <= width
        assert all(word in table[0] for word in ("standard u", "± 95 %", "share", "dof"))
        assert ("sensitivity" in table[0]) == (width > 60)
        assert all(row.count("%") == 1 for row in table[1:-1])
        # each value ends where its heading does
        ends = table[0].index("± 95 %") + len("± 95 %")
        assert all(row[ends - 1] != " " and row[ends : ends + 1].strip() == "" for row in table)


def test_first_order_fails_on_a_shallow_piece(capsys):
    """A radius is its sagitta's reciprocal: of a sagitta good to a seventh, first order fails.

    By the sagittas' own interval, 1.35 to 2.65 um at 1.96 u, the radius reaches from 472 to 926 m
    (analytic); its 95 % interval is wider above its value than below it.
    """
    text = call(
        capsys,
        "sag",
        "--plate",
        "2um",
        "--work",
        "2um",
        "--reading-u",
        "0.2340um",
        "--ring",
        "100mm",
        "--size-u",
        "1um",
        "--budget",
    ).out
    warning = " ".join(text.split()).split("! work radius: ")[1]
    assert warning.startswith("first order is not good enough; 95 % lie between ")
    ends = warning.split("between ")[1].split(" mm")[0]
    low, high = (float(word) for word in ends.split(" and "))
    assert low == pytest.approx(472e3, rel=0.02)
    assert high == pytest.approx(926e3, rel=0.02)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--plate", "808", "--work", "793um"), "no unit"),
        (("--plate", "0um", "--work", "793um"), "equals the zero"),
        (("--plate=-808um", "--work=-793um"), "below the zero"),
        (("--plate", "30mm", "--work", "1mm", "--ring", "40mm"), "beyond the sphere"),
        (("--plate", "5in", "--work", "793um", "--plate-radius", "100mm"), "beyond the sphere"),
        ((*TRADE, "--ring", "200mm", "--diameter", "150mm"), "larger than the piece"),
        ((*TRADE, "--plate-radius", "40mm", "--diameter", "150mm"), "smaller than half"),
        ((*TRADE, "--ring", "72mm,70mm"), "smaller than its inner edge"),
        ((*TRADE, "--ring", "70mm", "--ball", "5mm"), "no balls"),
        ((*TRADE, "--ball", "5mm"), "--legs or --foot-circle"),
        ((*TRADE, "--ring", "70mm", "--legs", "70mm"), "one of --ring"),
        ((*TRADE, "--legs", "10mm,20mm,90mm"), "no triangle"),
        ((*TRADE, "--lamp", "sodium"), "--diameter"),
        ((*TRADE, *PLATE, "--diameter", "150mm", "--lamp", "sodium", "--scale", "0"), "--scale"),
        ((*TRADE, "--spherometer", "balls"), "--archive"),
        ((*TRADE, "--spherometer", "balls", "--archive", ".", "--size-u", "1um"), "its own size"),
        (("--plate", "808", "--work", "793um"), "write for example 808um"),
        ((*TRADE, "--zero", "900um"), "below the zero"),
        (("--work", "793um"), "--plate"),
    ],
)
def test_nonsense(words, message, capsys):
    """Readings and sizes that make no sense get one clear line."""
    assert message in refused(capsys, "sag", *words)


@pytest.mark.parametrize(
    "words",
    [
        (*TRADE, *PLATE),
        ("--plate", "808um,807um", "--work", "793um", "--foot-circle", "140mm", "--ball", "6mm"),
        (*TRADE, *PLATE, "--diameter", "150mm", "--wavelength", "589.3nm", "--scale", "12"),
    ],
)
def test_starts_light(words):
    """Comparing readings loads no numpy and nothing that is heavier."""
    assert loaded("sag", *words) & HEAVY == set()


def test_contrast_of_a_lamp_loads_numpy_alone():
    """How many rings a lamp shows needs numpy, and still nothing heavier."""
    modules = loaded("sag", *TRADE, *PLATE, "--diameter", "150mm", "--lamp", "sodium")
    assert modules & HEAVY <= {"numpy"}

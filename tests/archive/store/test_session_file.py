"""A session's file: what was logged comes back, here and in programs that do not know us."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import re
import shutil
import subprocess
import warnings
from datetime import datetime, timedelta, timezone

import h5py
import numpy as np
import pint
import pytest
import xarray
from PIL import Image

from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session, read_summary
from fringe.archive.store.session import LoggedReading, Photograph, Visit
from fringe.archive.store.surface import load_surface
from fringe.archive.store.write import log_visit, write_visit
from fringe.errors import BadInput
from fringe.help import topic_text
from fringe.judge.state.visits import Work
from fringe.orders.gap_map import GAP_MAP_SIDE, GapMap
from fringe.orders.reading import Quality, Reading
from fringe.student_t import coverage_factor
from sample_visits import full_surface, full_visit, hours, plain_visit


@pytest.fixture
def surface(tmp_path):
    """A surface with every field of its record."""
    return full_surface(tmp_path / "shop", chamfer_mm=0.4)


@pytest.fixture
def full(surface, rng):
    """A visit with a value in every field, and the file that it was written to.

    It corrects an earlier session, so that nothing is left out.
    """
    first = log_visit(surface, plain_visit(), now=hours(0))
    visit = dataclasses.replace(
        full_visit(rng), replaces=first.stem, also_replaces=("0000_x",), struck=True
    )
    written = write_visit(surface, visit, now=hours(1), advise=lambda _: {"action": "stop"})
    return visit, written.path


def assert_same(one, other, where="visit"):
    """Compare nested dataclasses exactly, arrays bit by bit."""
    assert type(one) is type(other), where
    if dataclasses.is_dataclass(one):
        for field in dataclasses.fields(one):
            inner = f"{where}.{field.name}"
            assert_same(getattr(one, field.name), getattr(other, field.name), inner)
    elif isinstance(one, np.ndarray):
        assert one.dtype == other.dtype, where
        np.testing.assert_array_equal(one, other, err_msg=where)
    elif isinstance(one, tuple):
        assert len(one) == len(other), where
        for i, (a, b) in enumerate(zip(one, other, strict=True)):
            assert_same(a, b, f"{where}[{i}]")
    elif isinstance(one, float) and np.isnan(one):
        assert np.isnan(other), where
    else:
        assert one == other, where


def test_everything_comes_back(full, surface):
    """A visit with a value in every field is the same, bit by bit, after reading."""
    visit, path = full
    session = open_session(path)
    assert_same(session.visit, visit)
    # where its photographs arrive is a place on this machine, and no part of what was measured
    recorded = dataclasses.replace(load_surface(surface.folder), watches=None)
    assert session.surface == recorded


def test_the_least_comes_back(surface):
    """A visit that is one remark is the same after reading."""
    path = log_visit(surface, plain_visit(), now=hours(0))
    assert_same(open_session(path).visit, plain_visit())


def test_a_reading_without_anything(surface):
    """A reading that measured nothing keeps None, and counted by eye has no quality."""
    nan = float("nan")
    reading = LoggedReading(Reading(546.07, Quality(nan, nan, nan)), method="eye")
    visit = Visit(readings=(reading,))
    path = log_visit(surface, visit, now=hours(0))
    assert_same(open_session(path).visit, visit)


def test_identity_and_times(full, surface):
    """A session says when it was, when it was written, after which one, and by which programs."""
    visit, path = full
    summary = open_session(path).summary
    assert summary.session_id == path.stem
    assert (summary.sequence, summary.when, summary.logged_at) == (2, visit.when, hours(1))
    assert summary.when_given
    assert summary.previous_session == summary.replaces
    software = open_session(path).software
    assert {"fringe", "numpy", "scipy", "h5py", "python"} <= set(software)
    assert software["numpy"] == np.__version__


def test_the_clocks_offset_is_kept(surface):
    """The time of a visit keeps the offset of the clock that showed it."""
    offset = timezone(timedelta(hours=5, minutes=45))
    when = datetime(2026, 3, 14, 12, 0, tzinfo=offset)
    path = log_visit(surface, plain_visit(), now=when)
    with h5py.File(path) as file:
        assert file.attrs["when"].decode() == "2026-03-14T12:00:00+05:45"
        assert file.attrs["logged_at"].decode() == "2026-03-14T06:15:00+00:00"
    assert path.name.startswith("0001_20260314T061500Z_")


def test_summary_is_the_sessions(full, surface):
    """What a list reads of a session is what the session says, over the whole aperture."""
    visit = dataclasses.replace(
        full[0],
        readings=tuple(
            dataclasses.replace(one, aperture_mm=None, place_mm=None) for one in full[0].readings
        ),
        replaces=None,
        also_replaces=(),
        struck=False,
    )
    path = log_visit(surface, visit, now=hours(2))
    summary = read_summary(path)
    assert summary == open_session(path).summary
    assert (summary.work, summary.by, summary.remarks) == (visit.work, visit.by, visit.remarks)
    assert (summary.photographs, summary.refused) == (2, 1)
    *photographed, one, other = summary.measured
    assert one == other == visit.spherometers[0].measured
    for measured, logged in zip(photographed, visit.readings, strict=True):
        reading, k = logged.reading, coverage_factor()
        assert measured.power_fringes == reading.power_fringes
        share = logged.lamp.u_wavelength_nm / reading.wavelength_nm
        assert measured.power_u_fringes == pytest.approx(
            np.hypot(reading.power_u95_fringes / k, share * reading.power_fringes)
        )
        assert measured.sense == reading.sense
        assert measured.irregularity_fringes == reading.irregularity_fringes
        assert measured.irregularity_u_fringes == pytest.approx(
            np.hypot(
                logged.reading.irregularity_u95_fringes / k, share * reading.irregularity_fringes
            )
        )
        assert measured.radius_difference_mm == reading.radius_difference_mm
        # by the record's sizes, |dR| = N lambda R^2 / r^2 (paraxial)
        a_fringe_mm = 1e-6 * reading.wavelength_nm * surface.plate_radius_mm**2 / 75**2
        assert measured.radius_difference_u_mm == pytest.approx(
            a_fringe_mm * measured.power_u_fringes, rel=0.01
        )
        assert measured.wavelength_nm == reading.wavelength_nm
        assert (measured.source, measured.against) == ("fringes", "convex 1")


def test_placements_are_one_value_of_the_whole(full):
    """Readings over a smaller plate come in a list as one power, over the whole aperture."""
    carried, *_ = read_summary(full[1]).measured
    powers = [one.reading.power_fringes for one in full[0].readings]
    # analytic: a mean of the two, and power grows as the square of the diameter
    low, high = (power * (150 / 80) ** 2 for power in sorted(powers))
    assert low - 0.5 <= carried.power_fringes <= high + 0.5
    assert (carried.sense, carried.against) == ("edge", "convex 1")
    assert carried.irregularity_fringes is None


def test_raw_h5py(full, surface):
    """Plain h5py finds the numbers, their units, and the photograph's own bytes."""
    visit, path = full
    with h5py.File(path) as file:
        assert file.attrs["schema_version"] == 1
        assert file.attrs["work_minutes"] == 42.5
        power = file["power_fringes"]
        assert power[1] == visit.readings[1].reading.power_fringes
        assert power.attrs["units"] == b"1"
        gap = file["reading_1/gap_nm"]
        assert (gap.dtype, gap.attrs["units"], gap.compression) == (np.float32, b"nm", "gzip")
        assert gap.dims[0][0].name == "/reading_1/y"
        np.testing.assert_array_equal(gap[()], visit.readings[0].gap.gap_nm)
        for i, photograph in enumerate(visit.photographs, 1):
            data = file[f"photograph_{i}/data"]
            assert data[()].tobytes() == photograph.data
            digest = hashlib.sha256(photograph.data).hexdigest()
            assert file[f"photograph_{i}"].attrs["sha256"].decode() == digest
        assert json.loads(file["reading_2"].attrs["options"])["camera_distance_mm"] == 900.0
        assert file["surface"].attrs["plate_radius_mm"] == surface.plate.radius_mm


def test_every_chunk_has_a_checksum(full):
    """All values lie in chunks with HDF5's checksum, so that h5py alone notices damage."""
    plain = []

    def look(name, item):
        if isinstance(item, h5py.Dataset) and "_Netcdf4Dimid" in item.attrs and item.size > 0:
            bare = item.attrs.get("NAME", b"").startswith(b"This is a netCDF dimension")
            if not bare and not item.fletcher32:
                plain.append(name)

    with h5py.File(full[1]) as file:
        assert file["reading_1/gap_nm"].fletcher32
        file.visititems(look)
    assert plain == []


def test_xarray_opens_it(full):
    """xarray opens a session without knowing us, by its content and by its engine, unwarned."""
    visit, path = full
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with xarray.open_dataset(path) as found:
            assert found.attrs["session_id"] == path.stem
            powers = [logged.reading.power_fringes for logged in visit.readings]
            assert found["power_fringes"].values.tolist() == powers
            assert found["rings"].dtype.kind in "if"
        with xarray.open_datatree(path, engine="h5netcdf") as tree:
            gap = tree["reading_1/gap_nm"]
            assert gap.dims == ("y", "x")
            assert gap.coords["x"].attrs["units"] == "mm"
            assert tree["reading_1/coefficient_fringes"].dims == ("term",)
            assert tree["surface"].attrs["glass"] == "borosilicate"
            assert tree["photograph_1/data"].values.tobytes() == visit.photographs[0].data


def test_visits_concatenate_in_xarray(surface, rng):
    """The readings of many sessions join into one table without knowing us."""
    paths = [log_visit(surface, full_visit(rng), now=hours(i)) for i in range(3)]
    parts = [xarray.open_dataset(path).load() for path in paths]
    table = xarray.concat(parts, "reading", combine_attrs="drop")
    assert table["power_fringes"].shape == (6,)
    assert np.isfinite(table["power_fringes"]).all()


@pytest.mark.parametrize(
    ("tool", "words"),
    [("h5dump", '"schema_version"'), ("ncdump", ":schema_version = 1")],
)
def test_the_standards_own_tools(full, tool, words):
    """The dump programs of HDF5 and netCDF read a session to its end."""
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed")
    done = subprocess.run([tool, full[1]], capture_output=True, text=True, check=True)
    assert words in done.stdout
    assert "covariance_fringes2" in done.stdout
    assert not done.stderr


def test_a_photograph_is_kept_without_waste(surface, tmp_path, rng):
    """A session with a 12 megapixel JPEG is at most 3 MB larger than that photograph."""
    noise = rng.integers(0, 255, (3000, 4000, 3), dtype=np.uint8)
    buffer = io.BytesIO()
    Image.fromarray(noise).save(buffer, "JPEG", quality=60)
    data = buffer.getvalue()
    # a gap map of the size that is logged, and such that packing gains nothing
    places = np.linspace(-75.0, 75.0, GAP_MAP_SIDE)
    noise = rng.uniform(0, 1e4, (GAP_MAP_SIDE, GAP_MAP_SIDE)).astype(np.float32)
    gap = GapMap(places, places, noise, "mm")
    reading = dataclasses.replace(full_visit(rng).readings[0], photographs=(1,), gap=gap)
    visit = Visit(readings=(reading,), photographs=(Photograph("a.jpg", data, "image/jpeg"),))
    path = log_visit(surface, visit)
    assert len(data) > 2_000_000
    assert path.stat().st_size < len(data) + 3_000_000
    assert open_session(path).visit.photographs[0].data == data


def test_long_texts(surface):
    """A remark longer than HDF5's 64 kB for small attributes comes back."""
    remark = "größer als λ/10; " * 12_000
    path = log_visit(surface, plain_visit(remark))
    assert open_session(path).visit.remarks == remark
    with xarray.open_dataset(path) as found:
        assert found.attrs["remarks"] == remark


@pytest.mark.parametrize(
    ("visit", "words"),
    [
        (Visit(), "nothing to log"),
        (Visit(temperature_c=20.0, work=Work(on_top="tool")), "nothing to log"),
        (Visit(remarks="x", when=datetime(2026, 1, 1)), "no time zone"),
        (Visit(photographs=(Photograph("a.jpg", b""),)), "empty"),
        (Visit(remarks="x", inputs={"a": object()}), "no JSON form"),
        (Visit(remarks="x", inputs={"a": float("nan")}), "no JSON form"),
        (
            Visit(readings=(LoggedReading(Reading(1.0, Quality(1, 1, 1)), photographs=(1,)),)),
            "photograph that the visit does not hold",
        ),
        (Visit(remarks="x" * 5_000_000), "too long"),
        (Visit(remarks="x", replaces="0009"), "no visit"),
    ],
)
def test_what_cannot_be_logged(surface, visit, words):
    """A visit that cannot be written is refused in one line, and leaves nothing behind."""
    before = sorted(surface.folder.iterdir())
    with pytest.raises(BadInput, match=words):
        log_visit(surface, visit)
    assert sorted(surface.folder.iterdir()) == before


@pytest.mark.parametrize(("minutes", "on_top"), [(-1.0, None), (float("inf"), None), (1.0, "both")])
def test_impossible_work(minutes, on_top):
    """Work of negative length, or with both pieces on top, is refused."""
    with pytest.raises(BadInput, match="work"):
        Work("polish", minutes, on_top)


def test_a_split_spell_is_kept(surface):
    """Parts of a spell and the rest since the lap come back, and others read them as they are."""
    work = Work("9um", parts=(("work", 30.0), ("tool", 40.5)), rested_minutes=0.0)
    path = log_visit(surface, Visit(work=work))
    assert open_session(path).visit.work == read_summary(path).work == work
    with h5py.File(path) as file:
        assert file.attrs["work_parts"].decode() == "work 30.0, tool 40.5"
        assert (file.attrs["work_minutes"], file.attrs["work_rested_minutes"]) == (70.5, 0.0)
        assert "work_on_top" not in file.attrs


def test_earlier_sessions_are_not_touched(surface, rng):
    """Logging changes no byte of what was there before."""
    log_visit(surface, full_visit(rng))
    before = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in surface.folder.iterdir()}
    log_visit(surface, full_visit(rng))
    assert {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in before} == before
    assert len(list_sessions(surface.folder)) == 2


RECORD = topic_text("record")


def described() -> dict[str, str]:
    """Names in the format's description: path of each group, attribute and variable: unit."""
    text = RECORD.split("\n## Session\n")[1].split("\n## Versions\n")[0]
    found, group = {}, ""
    for line in text.splitlines():
        if match := re.match(r"### `(/\S*)`: ", line):
            group = match[1]
            found[group] = ""
        elif match := re.match(r"- `(@?\w+)(\([\w, ]+\))?`(?: \[(\w+)\])?: ", line):
            found[f"{group} {match[1]}{(match[2] or '').replace(' ', '')}"] = match[3] or ""
    return found


def written(path) -> dict[str, str]:
    """The same of a real file, its groups' numbers replaced by N; netCDF's own names left out."""
    own = {"_NCProperties", "_nc3_strict"}
    found = {}

    def look(name, item):
        group = "/" + re.sub(r"_\d+$", "_N", name)
        if isinstance(item, h5py.Group):
            found[group] = ""
            found.update({f"{group} @{a}": "" for a in item.attrs if a not in own})
        elif not item.attrs.get("NAME", b"").startswith(b"This is a netCDF dimension"):
            home, _, short = group.rpartition("/")
            home = re.sub(r"_\d+$", "_N", home) or "/"
            dims = [s[0].name.rpartition("/")[2] if len(s) else short for s in item.dims]
            found[f"{home} {short}({','.join(dims)})"] = item.attrs["units"].decode()

    with h5py.File(path) as file:
        look("", file)
        file.visititems(look)
    return found


def test_an_archive_carries_its_format(surface):
    """Beside the surfaces lies a text with the format, word for word, readable without markup."""
    text = (surface.folder.parent / "README.txt").read_text(encoding="utf-8")
    assert "``" not in text
    assert "**" not in text
    lines = {line.strip("# ") for line in text.splitlines()}
    page = {line.strip("# ") for line in RECORD.replace("`", "").splitlines()}
    assert page - lines <= {"python"}  # the fence of code, which is indented there
    assert len(page) > 150


def test_units_are_those_that_others_know(full):
    """A library of units takes each for what the end of the name says (digits are exponents)."""
    registry = pint.get_application_registry()
    kinds = {
        "_nm": "[length]",
        "_mm": "[length]",
        "_px": "[printing_unit]",
        "_px2": "[printing_unit] ** 2",
        "_deg": "",
    }
    for name, units in written(full[1]).items():
        kind = next((kinds[end] for end in kinds if name.partition("(")[0].endswith(end)), "")
        if units and not name.startswith("/reading_N x") and not name.startswith("/reading_N y"):
            found = registry.parse_units(re.sub(r"(?<=[a-z])(?=\d)", "**", units))
            assert found.dimensionality == registry.get_dimensionality(kind or ""), name


def test_the_description_is_the_format(full, surface):
    """The description names exactly what full sessions hold, with their dimensions and units."""
    split = Visit(work=Work("9um", parts=(("work", 30.0), ("tool", 40.5))))
    real, page = written(full[1]) | written(log_visit(surface, split)), described()
    assert len(page) > 100
    assert real == page

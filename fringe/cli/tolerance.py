"""`fringe tolerance`: one tolerance in all its forms, or what a system allows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._bench import (
    NM_PER_MM,
    NUMBER,
    PERCENT,
    counted,
    light_options,
    line,
    wavelength_nm,
)
from fringe.cli._options import LENGTH, WAVELENGTH, json_option, print_json
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.judge.tolerance.system import SystemTolerance
    from fringe.judge.tolerance.tolerance import Aperture, FormTolerance
    from fringe.judge.tolerance.use import Use

LIMITS = (
    "power",
    "radius_tolerance",
    "percent",
    "sagitta",
    "gap",
    "wavefront",
    "quarter_wave",
    "focus_shift",
    "irregularity",
    "iso",
)
# how a system uses a surface, which the system's file says for each of its own
USES = ("f_number", "use_wavelength", "footprint", "incidence", "index", "passes")


@click.command("tolerance", short_help="Turn a tolerance into all its forms.")
@click.option("--radius", type=LENGTH, metavar="L", help="Nominal radius.")
@click.option("--diameter", type=LENGTH, metavar="L", help="Aperture.")
@click.option(
    "--form",
    type=click.Choice(["convex", "concave"]),
    default="convex",
    show_default=True,
    help="Form of the work.",
)
@light_options
@click.option("--power", type=NUMBER, metavar="N", help="Power allowed, fringes.")
@click.option("--radius-tolerance", type=LENGTH, metavar="L", help="Radius allowed, either way.")
@click.option("--percent", type=PERCENT, metavar="P", help="The same, percent of the radius.")
@click.option("--sagitta", type=LENGTH, metavar="L", help="Sagitta allowed, either way.")
@click.option("--gap", type=LENGTH, metavar="L", help="Power allowed, as a height.")
@click.option("--irregularity", type=NUMBER, metavar="N", help="Irregularity allowed, fringes.")
@click.option("--iso", metavar="CODE", help="ISO 10110-5 code, as '3/ 2(0.5)'.")
@click.option("--wavefront", type=NUMBER, metavar="WAVES", help="Defocus allowed, peak to valley.")
@click.option("--quarter-wave", is_flag=True, help="The same: a quarter wave (Rayleigh).")
@click.option("--focus-shift", type=LENGTH, metavar="L", help="Shift of the focus allowed.")
@click.option("--f-number", type=NUMBER, metavar="F", help="Focal ratio at the focus.")
@click.option("--use-wavelength", type=WAVELENGTH, metavar="L", help="Wavelength of the use.")
@click.option("--footprint", type=LENGTH, metavar="L", help="Beam on the surface.")
@click.option("--incidence", type=NUMBER, metavar="DEG", help="Angle of incidence.")
@click.option("--index", type=NUMBER, metavar="N", help="Refraction into this index; no mirror.")
@click.option("--passes", type=click.IntRange(1), metavar="N", help="Times met.")
@click.option("--system", type=click.Path(path_type=Path), metavar="FILE", help="System (TOML).")
@json_option
def command(
    radius: float | None,
    diameter: float | None,
    form: str,
    lamp: str | None,
    wavelength: float | None,
    system: Path | None,
    as_json: bool,
    **given: Any,
) -> None:
    """Turn a tolerance, however it is stated, into all its forms on one aperture.

    Give one limit on power, or an ISO 10110-5 code, and --irregularity if you like. Wavefront and
    focus are those of a mirror over its whole aperture unless --index, --incidence,
    --footprint, --passes and --use-wavelength say otherwise.

    With --system FILE: what the train of surfaces allows each, how well its pair must match,
    and the light that comes through.

    \b
    Example:
      fringe tolerance --power 3 --radius 3048mm --diameter 150mm --lamp sodium
      fringe tolerance --iso '3/ 2(0.5)' --radius 3048mm --diameter 150mm --lamp mercury-green
      fringe tolerance --quarter-wave --radius 3048mm --diameter 150mm --wavelength 546.07nm
      fringe tolerance --system examples/train.toml --lamp sodium
    """
    if system is not None:
        if radius is not None or diameter is not None:
            raise BadInput("--system brings its own radii and diameters; leave yours out")
        _system(system, lamp, wavelength, given, as_json=as_json)
        return
    from fringe.judge.tolerance.tolerance import Aperture, form_tolerance

    if radius is None or diameter is None:
        raise BadInput("give --radius and --diameter of the aperture, or a --system file")
    light = _light(lamp, wavelength, given["iso"])
    aperture = Aperture(radius, diameter, light, form)
    result = form_tolerance(_limits(given), aperture, _use(given))
    if as_json:
        print_json(result.to_json())
    else:
        click.echo("\n".join(_text(result, aperture)))


def _system(
    path: Path, lamp: str | None, wavelength: float | None, given: dict[str, Any], *, as_json: bool
) -> None:
    from fringe.judge.tolerance.system import load_system, system_tolerance

    if any(given[key] not in (None, False) for key in LIMITS):
        raise BadInput("--system brings its own limit; leave the others out")
    for key in USES:
        if given[key] is not None:
            option = "--" + key.replace("_", "-")
            raise BadInput(f"--system says how each surface is used; leave {option} out")
    bench = None if lamp is None and wavelength is None else wavelength_nm(lamp, wavelength)
    result = system_tolerance(load_system(path), bench)
    if as_json:
        print_json(result.to_json())
    else:
        click.echo("\n".join(_system_text(result)))


def _light(lamp: str | None, wavelength: float | None, iso: str | None) -> float:
    """Wavelength of the fringes; a code that states its own needs no other."""
    if lamp is None and wavelength is None and iso is not None:
        from fringe.optics.iso10110 import parse_iso10110

        stated = parse_iso10110(iso).wavelength_nm
        if stated is not None:
            return stated
    return wavelength_nm(lamp, wavelength)


def _limits(given: dict[str, Any]) -> dict[str, float | str]:
    from fringe.judge.tolerance.use import QUARTER_WAVE

    names = {
        "power": "fringes",
        "radius_tolerance": "radius",
        "focus_shift": "focus",
    }
    limits = {names.get(key, key): given[key] for key in LIMITS if given[key] is not None}
    if limits.pop("quarter_wave", False):
        if "wavefront" in limits:
            raise BadInput("--quarter-wave is a --wavefront of its own; give one of them")
        limits["wavefront"] = QUARTER_WAVE
    if "gap" in limits:
        limits["gap"] *= NM_PER_MM
    return limits


def _use(given: dict[str, Any]) -> Use:
    from fringe.judge.tolerance.use import Use

    use_wavelength = given["use_wavelength"]
    return Use(
        incidence_deg=given["incidence"] or 0.0,
        footprint_mm=given["footprint"],
        index_after=given["index"],
        passes=given["passes"] or 1,
        wavelength_nm=None if use_wavelength is None else use_wavelength * NM_PER_MM,
        f_number=given["f_number"],
    )


def _text(one: FormTolerance, aperture: Aperture) -> list[str]:
    from fringe.format import figures

    def either_way(value: float | None, unit: str) -> str:
        return f"±{figures(value or 0.0)} {unit}"

    rows = [
        f"{one.iso10110}  over {aperture.diameter_mm:g} mm, radius {aperture.radius_mm:g} mm",
        line("in nanometres", one.iso10110_nm),
    ]
    if one.power_fringes is not None:
        rows += [
            line(
                "power",
                f"±{counted(one.power_fringes, 'fringe')} at {aperture.wavelength_nm:.2f} nm",
            ),
            line(
                "radius",
                f"{either_way(one.radius_difference_mm, 'mm')} ({either_way(one.percent, '%')})",
            ),
            line("sagitta", either_way(one.sagitta_um, "µm")),
            line("gap", f"{figures(one.gap_nm or 0.0)} nm along the plate's normal"),
            line(
                "defocus",
                f"{counted(one.wavefront_waves or 0.0, 'wave')} of "
                f"{one.use_wavelength_nm:.2f} nm, peak to valley",
            ),
        ]
    if one.focus_shift_mm is not None:
        rows.append(line("focus", either_way(one.focus_shift_mm, "mm")))
    if one.irregularity_fringes is not None:
        waves = f"{counted(one.irregularity_waves or 0.0, 'wave')} of wavefront"
        rows.append(line("irregularity", f"{counted(one.irregularity_fringes, 'fringe')}, {waves}"))
    for label, value, what in (
        ("its symmetric part", one.symmetric_irregularity_fringes, ""),
        ("rms, RMSt", one.rms_total_fringes, " of the whole deviation"),
        ("rms, RMSi", one.rms_irregularity_fringes, " of the irregularity"),
        ("rms, RMSa", one.rms_asymmetry_fringes, " of what is not symmetric in it"),
    ):
        if value is not None:
            rows.append(line(label, counted(value, "fringe") + what))
    return rows


def _system_text(result: SystemTolerance) -> list[str]:
    from fringe.format import figures

    system, match = result.system, result.match
    rows = []
    if match is not None:
        form = match.form
        rows += [
            f"{match.convex} and {match.concave} must match within "
            f"{counted(form.power_fringes or 0.0, 'fringe', 3)}",
            line(
                "counted",
                f"at {form.aperture.wavelength_nm:.2f} nm over {form.aperture.diameter_mm:g} mm",
            ),
            line("radii", f"{figures(match.radius_mm, 3)} mm apart at most"),
            line(
                "in common",
                "any error of both radii cancels"
                if match.common_radius_mm is None
                else f"both off by ±{figures(match.common_radius_mm)} mm at most",
            ),
        ]
    count = "1 error" if system.shares == 1 else f"{system.shares} errors"
    words = {"rss": "root sum square", "linear": "summed", "whole": "each the whole"}
    rows += [
        line("light", f"{100 * system.light:.1f} % comes through {len(system.surfaces)} surfaces"),
        line(
            "wavefront",
            f"{counted(system.wavefront_nm / system.wavelength_nm, 'wave')} of "
            f"{system.wavelength_nm:.0f} nm for {count}, {words[system.sharing]}",
        ),
    ]
    for name, one in result.surfaces.items():
        radius = figures(one.radius_difference_mm or 0.0, 3)
        fringes = counted(one.power_fringes or 0.0, "fringe", 3)
        rows.append(line(name, f"±{fringes} (radius ±{radius} mm)"))
    return rows

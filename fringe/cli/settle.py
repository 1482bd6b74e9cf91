"""`fringe settle`: where the power of a piece ends that comes to temperature, and when."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fringe.cli._bench import NUMBER, line, remark
from fringe.cli._options import LENGTH, json_option, print_json
from fringe.cli._surface_reading import surface_reading_options
from fringe.errors import BadInput

if TYPE_CHECKING:
    from fringe.archive.store.surface import Surface
    from fringe.judge.settling.settle import Settled, SettlingPower
    from fringe.judge.settling.temperature import ThermalCheck
    from fringe.orders.options import ReadOptions
    from fringe.orders.reading import Reading


@click.command("settle", short_help="Tell from photographs whether the glass has settled.")
@click.argument(
    "photos", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PHOTO..."
)
@click.option("--surface", metavar="ARCHIVE/NAME", help="Take plate, lamp and limits from it.")
@surface_reading_options
@click.option("--diameter", type=LENGTH, metavar="L", help="Of the aperture.")
@click.option("--times", metavar="M,M,...", help="Minutes of each PHOTO; else the cameras' clock.")
@click.option("--tolerance-power", type=NUMBER, metavar="N", help="Power allowed, fringes.")
@click.option(
    "--share",
    type=NUMBER,
    default="0.1",
    show_default=True,
    metavar="S",
    help="Of it that a drift may still move.",
)
@click.option("--glass", metavar="NAME", help="Of the piece that was handled, see glasses.toml.")
@click.option("--thickness", type=LENGTH, metavar="L", help="Of that piece.")
@click.option("--difference", type=NUMBER, metavar="K", help="Temperature it started off by.")
@click.option("--picture", type=click.Path(path_type=Path), metavar="OUT.png", help="Draw it, too.")
@json_option
def command(photos: tuple[Path, ...], picture: Path | None, as_json: bool, **given: Any) -> None:
    """Tell from photographs over some minutes whether the glass has settled.

    Give three photographs or more of one contact, or a folder of them: the power is fitted by
    an exponential, and its end is foretold with a 95 % interval. With a tolerance: how long
    still to wait until the change that is left falls under a share of it. The times are those
    that the camera noted, else the files', unless --times says them. With glass and thickness
    of the piece, its drift is held against what temperature can do to it.

    \b
    Example:
      fringe settle t00.png t20.png t40.png --lamp sodium --times 0,20,40 --tolerance-power 2
      fringe settle t00.png t20.png t40.png --lamp sodium --times 0,20,40 --diameter 150mm \\
        --glass borosilicate --thickness 25mm
    """
    from fringe.cli._waiting import waiting

    if picture is not None and picture.suffix.lower() != ".png":
        raise BadInput(f"--picture: {picture}: a picture's name must end in .png")
    paths = _photographs(photos)
    surface = _surface(given["surface"])
    minutes, clock = _minutes(paths, given["times"])
    with waiting("reading", quiet=as_json):
        kept, readings, refused = _read(paths, surface, given)
    minutes = [minutes[i] for i in kept]
    found, powers, check = _settled(minutes, readings, surface, given)
    if picture is not None:
        _draw(picture, minutes, powers, found, surface, given["diameter"], paths[kept[0]])
    if as_json:
        print_json(_json(paths, kept, minutes, powers, found, check, clock, refused))
    else:
        click.echo("\n".join(_text(minutes, powers, found, check, clock, refused, picture)))


def _photographs(photos: tuple[Path, ...]) -> list[Path]:
    """Photographs as they were given, those of a folder by their names."""
    from fringe.photo.arrivals import ENDINGS

    paths: list[Path] = []
    for photo in photos:
        if photo.is_dir():
            inside = sorted(p for p in photo.iterdir() if p.suffix.lower() in ENDINGS)
            paths += [p for p in inside if p.is_file() and not p.name.startswith(".")]
        else:
            paths.append(photo)
    if len(paths) < 3:
        raise BadInput(
            f"{len(paths)} photographs tell no curve; give three or more, better six over an hour"
        )
    return paths


def _surface(text: str | None) -> Surface | None:
    if text is None:
        return None
    from fringe.archive.store.surface import find_surface

    return find_surface(text)


def _minutes(paths: list[Path], text: str | None) -> tuple[list[float], str]:
    """Minutes of each photograph, and whose clock they are by."""
    if text is None:
        from fringe.photo.when import times_min

        minutes, clock = times_min(paths)
        if len(set(minutes)) < 3:
            raise BadInput(
                "the photographs bear no times that differ; give --times with the minutes of each"
            )
        return minutes, clock
    words = [word for word in text.replace(";", ",").split(",") if word.strip()]
    numbers: list[float] = [NUMBER.convert(word.strip(), None, None) for word in words]
    if len(numbers) != len(paths):
        raise BadInput(f"--times: {len(numbers)} times for {len(paths)} photographs")
    return numbers, "given"


def _read(
    paths: list[Path], surface: Surface | None, given: dict[str, Any]
) -> tuple[list[int], list[Reading], list[str]]:
    """Readings of what can be read, with their numbers, and why the others were left out."""
    from functools import partial

    from fringe.cli._surface_reading import read_file
    from fringe.errors import Refused
    from fringe.parallel import read_many

    answers = read_many(paths, partial(read_file, _options(surface, given)))
    kept = [i for i, one in enumerate(answers) if not isinstance(one, Refused)]
    readings = [one for one in answers if not isinstance(one, Refused)]
    refused = [str(one) for one in answers if isinstance(one, Refused)]
    if len(kept) < 3:
        raise BadInput(f"only {len(kept)} of {len(paths)} could be read: {'; '.join(refused)}")
    return kept, readings, refused


def _options(surface: Surface | None, given: dict[str, Any]) -> ReadOptions:
    from fringe.archive.instruments import find_lamp
    from fringe.cli._surface_reading import parse_edge, surface_options
    from fringe.orders.options import ReadOptions

    name = given["lamp"] or (surface.lamp if surface is not None else None)
    if name is None:
        raise BadInput("give the lamp: --lamp NAME (see `fringe lamps`)")
    if surface is not None and surface.folder is not None:
        return surface_options(surface, find_lamp(name, surface.folder.parent), given)
    return ReadOptions(
        lamp=find_lamp(name),
        edge=parse_edge(given["edge"]),
        diameter_mm=given["diameter"],
        camera_distance_mm=given["camera_distance"],
        sense=given["sense"],
        scale_px_per_mm=given["scale"],
    )


def _settled(
    minutes: list[float], readings: list[Reading], surface: Surface | None, given: dict[str, Any]
) -> tuple[Settled, SettlingPower, ThermalCheck | None]:
    from fringe.judge.settling.settle import (
        LONGEST_MIN,
        SHORTEST_MIN,
        settle,
        settling_powers,
        with_common,
    )
    from fringe.judge.settling.temperature import held_against

    powers = settling_powers(readings)
    check = _thermal(surface, given, powers.wavelength_nm)
    found = settle(
        minutes,
        powers.powers_fringes,
        powers.u_fringes,
        limit_fringes=_limit(surface, given, powers.wavelength_nm),
        time_constants_min=check.time_constants_min if check else (SHORTEST_MIN, LONGEST_MIN),
    )
    if check is not None:
        check = held_against(check, found, given["difference"])
    return with_common(found, powers.common_u_fringes), powers, check


def _limit(surface: Surface | None, given: dict[str, Any], wavelength_nm: float) -> float | None:
    """Change of power that does no harm, in fringes of the photographs."""
    if not 0 < given["share"] <= 1:
        raise BadInput("--share must be above 0 and at most 1")
    tolerance, light = given["tolerance_power"], wavelength_nm
    if tolerance is None and surface is not None:
        tolerance = surface.tolerance.power_fringes
        light = surface.tolerance.wavelength_nm or wavelength_nm
    if tolerance is None:
        return None
    if tolerance <= 0:
        raise BadInput("--tolerance-power must be greater than zero")
    return float(given["share"] * tolerance * light / wavelength_nm)


def _thermal(
    surface: Surface | None, given: dict[str, Any], wavelength_nm: float
) -> ThermalCheck | None:
    from fringe.judge.settling.temperature import thermal_check
    from fringe.optics.thermal import glass, glass_names

    diameter, name = given["diameter"], given["glass"]
    if surface is not None:
        diameter = diameter or surface.diameter_mm
        known = (surface.glass or "").strip().lower() in glass_names()
        name = name or (surface.glass if known else None)
    if name is None or given["thickness"] is None or diameter is None:
        if given["glass"] is not None and (given["thickness"] is None or diameter is None):
            raise BadInput("--glass needs --thickness and --diameter beside it")
        return None
    return thermal_check(glass(name), given["thickness"], diameter, wavelength_nm)


def _draw(
    path: Path,
    minutes: list[float],
    powers: SettlingPower,
    found: Settled,
    surface: Surface | None,
    diameter_mm: float | None,
    first: Path,
) -> None:
    from fringe.photo.when import taken_text
    from fringe.show.figures.settle import settle_figure
    from fringe.show.figures.style import png_bytes
    from fringe.synth.files import write_whole

    figure = settle_figure(
        minutes,
        powers,
        found,
        surface_name=surface.name if surface else None,
        diameter_mm=surface.diameter_mm if surface else diameter_mm,
        when=taken_text(first),
    )
    write_whole(path, png_bytes(figure))


def _json(
    paths: list[Path],
    kept: list[int],
    minutes: list[float],
    powers: SettlingPower,
    found: Settled,
    check: ThermalCheck | None,
    clock: str,
    refused: list[str],
) -> dict[str, Any]:
    rows = zip(kept, minutes, powers.powers_fringes, powers.u_fringes, strict=True)
    return {
        **found.to_json(),
        "wavelength_nm": powers.wavelength_nm,
        "sense": powers.sense,
        "clock": clock,
        "readings": [
            {"photo": str(paths[i]), "minutes": t, "power_fringes": p, "u_fringes": u}
            for i, t, p, u in rows
        ],
        "thermal": None if check is None else check.to_json(),
        "refused": refused,
    }


def _text(
    minutes: list[float],
    powers: SettlingPower,
    found: Settled,
    check: ThermalCheck | None,
    clock: str,
    refused: list[str],
    picture: Path | None,
) -> list[str]:
    from fringe.format import figures
    from fringe.judge.settling.settle import duration, span_text, text_of

    whose = {"camera": "by the camera's clock", "file": "by the files' times", "given": "as given"}
    last = powers.powers_fringes[minutes.index(max(minutes))]
    span = max(minutes) - min(minutes)
    rows = [
        text_of(found),
        line("photographs", f"{len(minutes)} over {figures(span, 3)} min, {whose[clock]}"),
        line(
            "last power",
            f"{figures(last, 4, signed=powers.sense != 'unknown')} fringes at "
            f"{powers.wavelength_nm:.1f} nm"
            + (", sign unknown" if powers.sense == "unknown" else ""),
        ),
        line("still to come", span_text(found.remaining_fringes, "fringes", way=-1.0)),
    ]
    if found.time_constant_min is not None:
        rows.append(line("time constant", span_text(found.time_constant_min, "min", signed=False)))
        rows.append(line("moves now", f"{figures(found.rate_fringes_h, 2, signed=True)} fringes/h"))
    rows += _wait_text(found)
    if check is not None:
        kelvin = (
            ""
            if check.difference_k is None
            else (f"; what is left is {figures(check.difference_k, 2)} K")
        )
        rows.append(
            line(
                "by temperature",
                f"{figures(check.bending_fringes_k, 2)} fringes/K, "
                f"{figures(check.slab_min, 2)} min at least, "
                f"about {duration(check.air_min)} in air{kelvin}",
            )
        )
    if picture is not None:
        rows.append(line("picture", str(picture)))
    notes = (*found.notes, *(check.notes if check else ()))
    return [*rows, *(remark(note) for note in notes), *(remark(one) for one in refused)]


def _wait_text(found: Settled) -> list[str]:
    from fringe.format import figures
    from fringe.judge.settling.settle import duration

    if found.limit_fringes is None or found.wait_min is None:
        return []
    limit = f"until less than {figures(found.limit_fringes, 2)} fringes are to come"
    if found.state == "settled":
        return [
            line(
                "wait",
                f"no longer: less than {figures(found.limit_fringes, 2)} fringes are to come",
            )
        ]
    most = "" if found.wait_most_min is None else f", {duration(found.wait_most_min)} at most"
    return [line("wait", f"{duration(found.wait_min)}{most}, {limit}")]

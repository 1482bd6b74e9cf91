"""What a photograph is read with, from the records of an archive and what a person says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from fringe.archive.instrument_records import load_camera
from fringe.archive.instruments import find_lamp, record_if_any
from fringe.archive.plate_maps import latest_map
from fringe.archive.plates.form import finish_form_of
from fringe.archive.store.names import plate_of_record
from fringe.archive.store.session import LoggedReading, Session
from fringe.archive.store.surface import Surface
from fringe.archive.views.laid import as_laid, sizes_of
from fringe.errors import BadInput
from fringe.orders.options import ReadOptions, StatedOptions
from fringe.orders.plate_map import PlateMap


def stated_options(
    surface: Surface | None, stated: StatedOptions, archive: Path | None = None
) -> ReadOptions:
    """Join what a person says of a photograph with the records of surface, lamp and camera.

    Parameters
    ----------
    surface : Surface or None
        The work, as it lay: its diameter, plate and form count, and its usual lamp where none
        was named.
    stated : StatedOptions
        What was said; it goes before what a camera's record says.
    archive : Path, optional
        Where lamps and cameras are on record; else the surface's archive.

    Raises
    ------
    BadInput
        If no lamp is known, or a lamp or camera is on no record.
    """
    if archive is None and surface is not None and surface.folder is not None:
        archive = surface.folder.parent
    said = with_camera(stated, archive)
    if surface is None:
        if said.plate_turned is not None:
            raise BadInput("--plate-turned: give --surface, whose plate's map is to be taken out")
        if said.lamp is None:
            raise BadInput("give the lamp: --lamp NAME (see `fringe lamps`), or --surface")
        return said.options(find_lamp(said.lamp, archive))
    name = said.lamp or surface.lamp
    if name is None:
        of_plate = plate_of_record(surface.name)
        whose = f"surface {surface.name!r}" if of_plate is None else f"plate {of_plate}"
        raise BadInput(f"{whose} has no usual lamp; give --lamp NAME (see `fringe lamps`)")
    if said.chamfer_mm is not None:
        surface = surface.with_chamfer(said.chamfer_mm)
    known = replace(
        said,
        diameter_mm=surface.outside_diameter_mm,
        chamfer_mm=surface.chamfer_mm,
        plate_radius_mm=surface.plate_radius_mm,
        work=surface.form,
    )
    options = known.options(find_lamp(name, archive))
    plate_map = map_of_plate(surface, archive, needed=said.plate_turned)
    return replace(options, plate_map=plate_map, plate_back=plate_back(surface))


def map_of_plate(surface: Surface, archive: Path | None, needed: str | None) -> PlateMap | None:
    """The map of the plate that the surface lies on; None where the archive has none."""
    plate = surface.plate.name
    found = None
    if archive is not None and plate is not None:
        finish_form_of(archive, plate)
        found = latest_map(archive, plate)
    if found is None and needed is not None:
        raise BadInput(
            f"--plate-turned: {plate or 'the plate'} has no map in this archive; make one with "
            "`fringe turning --keep`"
        )
    return found


def plate_back(surface: Surface) -> str:
    """Back of the plate by its record, `flat` or `concentric`; empty where none says it."""
    if surface.folder is None or surface.plate.name is None:
        return ""
    record = record_if_any(surface.folder.parent, "plate", surface.plate.name) or {}
    return str(record.get("back") or "")


def with_camera(stated: StatedOptions, archive: Path | None) -> StatedOptions:
    """Fill in what the camera's record knows; what was said stays."""
    if stated.camera is None:
        return stated
    if archive is None:
        raise BadInput(
            f"--camera: give the archive that has {stated.camera!r} on record, as --archive shop"
        )
    record = load_camera(archive, stated.camera)
    distance, scale = stated.camera_distance_mm, stated.scale_px_per_mm
    return replace(
        stated,
        camera_distance_mm=record.distance_mm if distance is None else distance,
        scale_px_per_mm=record.scale_px_per_mm if scale is None else scale,
    )


def kept_options(logged: LoggedReading) -> ReadOptions:
    """What a reading was read with, from what the session keeps.

    Raises
    ------
    BadInput
        If that is not enough to read the photograph again.
    """
    if logged.lamp is None:
        raise BadInput("the session does not keep its lamp")
    return ReadOptions.from_json(logged.lamp, logged.options)


def refused_options(session: Session, archive: Path) -> ReadOptions:
    """What a photograph was to be read with of which no reading was made.

    Only the inputs of its visit are kept then, in the words of the command line.
    """
    inputs, surface = session.visit.inputs, session.surface
    if inputs.get("chamfer") is not None:
        surface = surface.with_chamfer(float(inputs["chamfer"]))
    if inputs.get("aperture") is not None:
        surface = as_laid(surface, float(inputs["aperture"]), None)
    name = inputs.get("lamp") or surface.lamp
    if name is None:
        raise BadInput("the session does not keep its lamp")
    values = {
        "edge": inputs.get("edge", "auto"),
        "sense": inputs.get("sense", "auto"),
        "camera_distance_mm": inputs.get("camera_distance"),
        "scale_px_per_mm": inputs.get("scale"),
        **sizes_of(surface),
        "plate_radius_mm": surface.plate_radius_mm,
        "plate_back": plate_back(surface),
        "work": surface.form,
    }
    return ReadOptions.from_json(find_lamp(str(name), archive), values)

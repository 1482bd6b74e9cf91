"""What a plate's visit brought: readings, photographs and certificates, read and put together."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from fringe.archive.instruments import (
    instrument_record,
    record_if_any,
    spherometer_from_record,
)
from fringe.archive.plates.known import plate_state
from fringe.archive.plates.state import PlateState
from fringe.archive.plates.visits import CERTIFICATE, RECORD, TURNING
from fringe.archive.store.names import folder_names
from fringe.archive.store.session import LoggedReading, LoggedSpherometer, Photograph, Visit
from fringe.archive.store.surface import Plate, Surface
from fringe.archive.views.asked import Asked, Question, check_asked
from fringe.archive.views.correction import CorrectedVisit, corrected_fringes, visit_to_correct
from fringe.archive.views.laid import other_circle
from fringe.archive.views.log_request import eye_reading
from fringe.archive.views.photographs import (
    load_photographs,
    logged,
    read_photographs,
    take_over,
)
from fringe.archive.views.plate_request import PlateRequest
from fringe.archive.views.reading_options import stated_options
from fringe.archive.views.turning import TurningRequest, turned_photographs
from fringe.archive.views.visit_request import VisitRequest, inputs_of
from fringe.errors import BadInput
from fringe.format import figures
from fringe.judge.plates.evidence import UM_PER_MM, PlateSagitta
from fringe.judge.spherometer.drift import gauge_drift
from fringe.judge.spherometer.typed import TypedReadings
from fringe.optics.spherometer import other_form
from fringe.orders.options import StatedOptions

# A radius this far from what is known is asked about, relative (ours, no source): a mistyped
# unit or the wrong plate is farther off, a plate that was worked anew is not
_FAR = 0.02
Readings = tuple[tuple[LoggedReading, ...], tuple[Photograph, ...]]


class AskedPlateVisit:
    """A visit of one plate on its way from what is said to what is written."""

    def __init__(
        self,
        archive: Path,
        state: PlateState,
        surface: Surface,
        request: PlateRequest,
        stated: StatedOptions,
        notes: list[str],
    ) -> None:
        self.archive, self.state, self.surface = archive, state, surface
        self.request, self.stated, self.notes = request, stated, notes
        self.instruments: dict[str, Any] = {"plate": state.plate.record()}

    def visit(self, photos: Sequence[Path]) -> Visit:
        """Read all that the visit brought, and put it together."""
        request, folder = self.request, self.surface.folder
        corrected = None
        if request.replaces is not None:
            assert folder is not None
            corrected = visit_to_correct(folder, request.replaces)
        loaded = self._asked(photos)
        sagittas = self._sagittas()
        readings, photographs = self._fringes(photos, corrected, loaded)
        # with the plate's record, so that the visits alone bring it back in another archive
        inputs: dict[str, Any] = {
            "photographs": [str(path) for path in photos],
            RECORD: self.state.plate.record(),
        }
        inputs |= {**inputs_of(self.stated, VisitRequest()), **request.inputs()}
        inputs |= self._certificate(corrected) | self._turning(corrected, len(readings))
        visit = Visit(
            when=request.time(),
            by=request.by,
            remarks=request.remark,
            readings=readings,
            photographs=photographs,
            spherometers=sagittas,
            replaces=request.replaces,
            inputs=inputs,
            instruments=self.instruments,
        )
        if corrected is None:
            remark = (request.remark or "").strip()
            if not (readings or sagittas or remark or CERTIFICATE in inputs):
                raise BadInput(
                    "there is nothing to log; give --sag with --spherometer, a photograph with "
                    "--against or --turned, a certificate's --radius, or a --remark"
                )
            return visit
        base = corrected.base
        named = dataclasses.replace(
            visit,
            replaces=corrected.found.current.session_id,
            also_replaces=corrected.also,
            inputs={**base.visit.inputs, **{k: v for k, v in inputs.items() if v != []}},
        )
        return take_over(named, base.visit)

    def _asked(self, photos: Sequence[Path]) -> list[Photograph]:
        """Raise `Asked` for what is hardly meant, unless that was confirmed."""
        request = self.request
        asked = VisitRequest(
            when=request.when, replaces=request.replaces, burst=request.burst, yes=request.yes
        )
        folder = self.archive / folder_names(self.surface.name)[0]
        return check_asked(self.surface, photos, asked, folder=folder)

    def _sagittas(self) -> tuple[LoggedSpherometer, ...]:
        """Readings of the spherometer on the plate, with the radius that they alone tell."""
        request = self.request
        typed = TypedReadings.of(request.sag, (), request.zero)
        if not typed.plate:
            if typed.zero or request.spherometer or request.reading_u_mm is not None:
                raise BadInput("the spherometer needs its readings on the plate: --sag 808um,808um")
            return ()
        if request.spherometer is None:
            raise BadInput(
                "--sag: say which spherometer, as --spherometer 'three balls'; its sizes tell the "
                "radius"
            )
        record = instrument_record(self.archive, "spherometer", request.spherometer)
        one = spherometer_from_record(record)
        u, assumed = typed.u_mm(request.reading_u_mm, one)
        when = request.time()
        drift, remark = gauge_drift(one, date.today() if when is None else when.date())
        self.notes += [line for line in (assumed, remark) if line]
        if one.u_contact_mm is None:
            self.notes.append("the size of its circle has no uncertainty on record; 1 % is taken")
        options = {"u_reading_mm": u} | ({"u_drift_mm": drift} if drift else {})
        heights, _, zeros = typed.heights_mm
        read = PlateSagitta(
            self.state.name,
            self.surface.form,
            request.spherometer,
            tuple(UM_PER_MM * x for x in heights),
            tuple(UM_PER_MM * x for x in zeros),
            one,
            UM_PER_MM * u,
            UM_PER_MM * drift,
        )
        radius, radius_u = read.radius()
        self._check_near(radius, "by these readings")
        self.instruments["spherometer"] = record
        return (
            LoggedSpherometer(
                "plate", np.array(heights), np.array(zeros), record, options, radius, radius_u
            ),
        )

    def _check_near(self, radius_mm: float, how: str) -> None:
        known = self.state.radius_mm
        if abs(radius_mm / known - 1) > _FAR and not self.request.yes:
            text = (
                f"{how} the radius is {figures(radius_mm, 6)} mm, and {figures(known, 6)} mm by "
                "what is known"
            )
            raise Asked([Question(text, "--yes logs it all the same")])

    def _certificate(self, corrected: CorrectedVisit | None) -> dict[str, Any]:
        said = self.request.certificate()
        if not said:
            return {}
        before = {} if corrected is None else corrected.base.visit.inputs.get(CERTIFICATE) or {}
        if "radius_mm" in said and "u_radius_mm" not in said:  # it belongs to the old radius
            before = {name: value for name, value in before.items() if name != "u_radius_mm"}
        joined = {**before, **said}
        if "radius_mm" not in joined:
            raise BadInput(
                "a certificate tells a radius: give it, as --radius '3048.6 ± 0.3 mm (k=2)'"
            )
        if "certified" not in joined:
            raise BadInput("a certificate has a date: give it, as --certified 2026-03-14")
        if date.fromisoformat(joined["certified"]) > date.today() and not self.request.yes:
            question = Question(
                f"--certified: {joined['certified']} is in the future", "--yes logs it all the same"
            )
            raise Asked([question])
        self._check_near(joined["radius_mm"], "by this certificate")
        if "u_radius_mm" not in joined:
            self.notes.append("the certificate has no uncertainty, and so does not count")
        return {CERTIFICATE: joined}

    def _fringes(
        self,
        photos: Sequence[Path],
        corrected: CorrectedVisit | None,
        loaded: Sequence[Photograph],
    ) -> Readings:
        request = self.request
        if photos or request.by_eye is not None:
            return self._read(photos, corrected, loaded)
        if request.against or request.aperture_mm or (request.of_turning and corrected is None):
            raise BadInput(
                "--against, --aperture and --turned belong to photographs; give them as well"
            )
        if corrected is None or self.stated == StatedOptions():
            return (), ()
        asked = VisitRequest(replaces=request.replaces)
        return corrected_fringes(self.surface, corrected, (), asked, self.stated) or ((), ())

    def _read(
        self,
        photos: Sequence[Path],
        corrected: CorrectedVisit | None,
        loaded: Sequence[Photograph],
    ) -> Readings:
        """Readings of a contact, or of a turning test."""
        request = self.request
        base = None if corrected is None else corrected.base.visit
        if request.of_turning or (base is not None and TURNING in base.inputs):
            return self._turned(photos, corrected)
        against = request.against
        if against is None and base is not None:
            against = next((one.against for one in base.readings if one.against), None)
        laid = self._laid(against)
        options = stated_options(laid, self.stated, self.archive)
        readings, photographs = (
            read_photographs(photos, options, burst=request.burst, loaded=loaded)
            if photos
            else ((), ())
        )
        if request.by_eye is not None:
            readings = (*readings, eye_reading(request.by_eye, options))
        circle = other_circle(laid, self.surface)
        self._keep_records()
        placed = tuple(
            dataclasses.replace(one, against=laid.plate.name, aperture_mm=circle)
            for one in readings
        )
        return placed, photographs

    def _laid(self, against: str | None) -> Surface:
        """The plate as it lay on the other one, over the circle that both have."""
        if self.stated.chamfer_mm is not None:
            raise BadInput("--chamfer is of a work; of plates give the circle, as --aperture 80mm")
        if against is None:
            raise BadInput(
                "say which plate it lay on, as --against P8; or of a turning test, how the pieces "
                "were turned: --turned 0deg --turned 72deg"
            )
        other = plate_state(self.archive, against)
        if other.form == self.surface.form:
            raise BadInput(f"--against: {other.name} is {other.form} like {self.state.name}")
        self.instruments["plate"] = other.plate.record()
        sizes = [self.surface.diameter_mm, other.plate.values.get("diameter_mm")]
        circle = min(one for one in sizes if one is not None)
        if self.request.aperture_mm is not None:
            if self.request.aperture_mm > circle:
                raise BadInput(f"--aperture: it is more than the plates' {circle:g} mm")
            circle = self.request.aperture_mm
        elif circle < self.surface.diameter_mm:
            self.notes.append(f"read over {circle:g} mm, the diameter of {other.name}")
        plate = Plate(other.name, other.radius_mm, other.u_mm)
        return dataclasses.replace(self.surface, plate=plate, diameter_mm=circle)

    def _turned(self, photos: Sequence[Path], corrected: CorrectedVisit | None) -> Readings:
        """Readings of a turning test: this plate with whatever lay on it."""
        request = self.request
        if request.by_eye is not None or request.burst:
            raise BadInput("a turning test is read from photographs, one a position")
        diameter = request.aperture_mm or self.surface.diameter_mm
        work = dataclasses.replace(
            self.surface,
            form=other_form(self.surface.form),
            diameter_mm=diameter,
            plate=Plate(self.state.name, self.state.radius_mm, self.state.u_mm),
        )
        options = stated_options(work, self.stated, self.archive)
        options = dataclasses.replace(options, plate_map=None)
        angles = request
        if not request.of_turning:
            assert corrected is not None
            said = corrected.base.visit.inputs[TURNING]
            texts = {name: tuple(f"{one}deg" for one in said[name]) for name in said}
            angles = dataclasses.replace(
                request,
                turned=texts.get("turned_deg", ()),
                plate_angles=texts.get("plate_turned_deg", ()),
            )
        asked = TurningRequest(turned=angles.turned, plate_angles=angles.plate_angles)
        test = turned_photographs(photos, asked, options)
        test.plate_map(self.state.name)  # says why there is none
        photographs = tuple(load_photographs(photos))
        if len(photographs) != len(photos):
            raise BadInput("turning test: the same photograph is given twice; give each once")
        self._keep_records()
        readings = tuple(
            logged(one, (place,), options) for place, one in enumerate(test.readings, 1)
        )
        return readings, photographs

    def _turning(self, corrected: CorrectedVisit | None, count: int) -> dict[str, Any]:
        """The angles of a turning test; in a correction they may be said alone."""
        request = self.request
        if not request.of_turning:
            return {}
        from fringe.units import angle_deg

        if count == 0 and corrected is not None:
            count = len(corrected.base.visit.readings)
            if TURNING not in corrected.base.visit.inputs:
                raise BadInput(
                    f"visit {corrected.found.number} is no turning test; strike it out, and log "
                    "the test with its photographs"
                )
        found = {}
        for name, option, texts in (
            ("turned_deg", "--turned", request.turned),
            ("plate_turned_deg", "--plate-turned", request.plate_angles),
        ):
            if texts and len(texts) != count:
                raise BadInput(f"{option}: {len(texts)} angles for {count} photographs")
            if texts:
                found[name] = [angle_deg(text, option) for text in texts]
        return {TURNING: found}

    def _keep_records(self) -> None:
        """Copies of the records of lamp and camera that read the photographs."""
        for kind, name in (("lamp", self.stated.lamp), ("camera", self.stated.camera)):
            record = None if name is None else record_if_any(self.archive, kind, name)
            if record is not None:
                self.instruments[kind] = record

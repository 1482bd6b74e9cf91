"""Surfaces and sessions on disk, in a form that outlives this program.

This page is the format; a copy of it lies in every archive, in README.txt. A test holds it
against a real file, name by name.

Folders
-------
An archive is a folder, and a surface is a folder in it.
The folder's name is the surface's name made safe for every file system, with eight
hexadecimal digits of the name's SHA-256 appended where anything had to be altered; the true
name stands in the surface's record. A surface's folder holds::

    surface-0001.json                        the surface's record, one file a version;
    surface-0002.json                        the highest number is the current one
    0001_20260314T093000Z_k3v9qd.h5          one session a file: sequence, time of
    0002_20260314T151000Z_x0w2ma.h5          writing (UTC), six random characters
    .0003.partial                            left behind by a writer that was killed:
    .surface-0003.x4t0bz.partial             not part of the record

Every file is written under a partial name, flushed to the disk, and only then renamed. No
file is ever changed afterwards. A partial file also holds its sequence number, so that no
two sessions ever get the same one, however many programs write at once.

A folder `.NAME.x4t0bz.moving` is a surface whose move to another archive was interrupted.

Beside the surfaces an archive may hold `instruments`, see :mod:`fringe.archive.instruments`,
and `.index`, by which lists are quick, see :mod:`fringe.archive.store.index`. The index is made
from the files and may be deleted. What leaves an archive for another has a form of its own, see
:mod:`fringe.archive.transfer.export`.

Surface record
--------------
JSON, UTF-8, one key a line; absent keys do not apply. Lengths are in the unit their names
end with. `name`, `form` (`convex` or `concave`), `radius_mm` (nominal), `radius_u_mm`
(standard uncertainty), `diameter_mm` (of the aperture), `plate` (`name`, `radius_mm`,
`radius_u_mm`), `tolerance` (`power_fringes`, `irregularity_fringes`, `radius_difference_mm`,
each the largest magnitude allowed; `wavelength_nm` that the fringes are counted in; `rule`),
`lamp`, `glass`, `note`, `version` (the number in the file's name), `created_at`,
`changed_at` (ISO 8601 with offset), `schema`, `schema_version`, `software`. The last key,
`sha256`, is the SHA-256 of the file with that digest's 64 characters replaced by zeros.

Session
-------
HDF5 (of 1.10 or later) and netCDF-4: any reader of either opens it, for example
``xarray.open_dataset(path)`` or ``xarray.open_datatree(path, engine="h5netcdf")``. Text is
UTF-8 of fixed length; absent attributes do not apply; a number that does not apply in a
table is NaN (-1 for whole numbers). `N` stands for 1, 2, ... Units are those of the variable's
`units` attribute, as in the CF conventions; `1` is a pure number, a fringe being half a
wavelength of gap. The one unit that CF's table lacks is `pixel`, the step from one sample of the
photograph to the next.

``/`` : the visit, and one row a reading
    ``@Conventions`` : ``CF-1.8``
    ``@title`` : surface and time, for a person
    ``@schema`` : ``fringe session``
    ``@schema_version`` : whole number, see below
    ``@session_id`` : the file's name without ``.h5``
    ``@sequence`` : order of logging within the surface, from 1; never used twice
    ``@when`` : time of the visit, ISO 8601 with offset
    ``@when_source`` : ``clock``, or ``given`` by hand
    ``@logged_at`` : the clock when this was written, ISO 8601, UTC
    ``@previous_session`` : the last session that was there before this one
    ``@replaces`` : the session that this one corrects
    ``@by`` : who measured
    ``@work_stage`` : work done since the last visit: its name
    ``@work_minutes`` : its duration, minutes
    ``@work_on_top`` : which piece was the upper one, ``work`` or ``tool``
    ``@work_stroke`` : its stroke, free text
    ``@work_lap`` : its lap, free text
    ``@work_pressure`` : its pressure, free text
    ``@work_slurry`` : its slurry, free text
    ``@work_removed_mm`` : glass that it took off, by a gauge of thickness, mm
    ``@work_pits`` : the pits of the grit before, by a loupe: ``gone`` or ``left``
    ``@remarks`` : free text
    ``@temperature_c`` : temperature at the bench, degrees Celsius
    ``@inputs`` : JSON, what the session was logged with
    ``@instruments`` : JSON, the records of plate, spherometer, camera and lamp as they were used
    ``@software`` : JSON, name and version of what computed it
    ``@readings`` : number of readings, of groups ``/reading_N`` and of rows below
    ``@photographs`` : number of groups ``/photograph_N``
    ``@refused`` : number of photographs of which no reading was made
    ``@spherometers`` : number of groups ``/spherometer_N``
    ``@content_sha256`` : see Digests
    ``method(reading)`` [1] : 0 photograph, 1 counted by eye
    ``wavelength_nm(reading)`` [nm] : wavelength in air that the fringes are counted in
    ``power_fringes(reading)`` [1] : sagitta error of the best-fit sphere; positive with the
        contact at the centre; the magnitude where the sense is unknown
    ``power_u95_fringes(reading)`` [1] : half-width of its 95 % interval
    ``sense(reading)`` [1] : where the contact is: 0 unknown, 1 centre, 2 edge
    ``tilt_fringes(reading)`` [1] : from edge to centre
    ``astigmatism_fringes(reading)`` [1] : peak to valley
    ``irregularity_fringes(reading)`` [1] : peak to valley, best-fit sphere taken out
    ``irregularity_u95_fringes(reading)`` [1] : half-width of its 95 % interval
    ``symmetric_irregularity_fringes(reading)`` [1] : its rotationally symmetric part
    ``rms_irregularity_fringes(reading)`` [1] : root mean square
    ``rings(reading)`` [1] : whole dark rings crossed
    ``ring_step_px2(reading)`` [pixel2] : growth of the squared ring radius a ring
    ``ring_step_u95_px2(reading)`` [pixel2] : half-width of its 95 % interval
    ``effective_radius_mm(reading)`` [mm] : radius of the sphere with the same gap on a flat
    ``radius_difference_mm(reading)`` [mm] : radius of the work less that of the plate
    ``radius_difference_u95_mm(reading)`` [mm] : half-width of its 95 % interval
    ``frames(reading)`` [1] : frames of a burst that were solved together
    ``edge_cx_px(reading)`` [pixel] : centre of the edge, x, from the middle of the first pixel
    ``edge_cy_px(reading)`` [pixel] : centre of the edge, y, downwards
    ``edge_a_px(reading)`` [pixel] : longer semi-axis
    ``edge_b_px(reading)`` [pixel] : shorter semi-axis
    ``edge_angle_deg(reading)`` [degree] : direction of the longer one from +x toward +y
    ``edge_u_px(reading)`` [pixel] : standard uncertainty of the semi-axes
    ``contrast(reading)`` [1] : median fringe contrast
    ``used_fraction(reading)`` [1] : share of the aperture that was used
    ``residual(reading)`` [1] : what the fit leaves, as a share of the fringe amplitude
``/reading_N`` : one reading
    ``@photographs`` : numbers of the photographs that it was read from; of a burst, all frames
    ``@sense_source`` : ``given``, ``contrast``, ``press``, ``two-lamp``
    ``@iso10110`` : the surface form as a drawing says it, with its wavelength
    ``@edge_source`` : where the edge is from
    ``@warnings`` : one a line
    ``@options`` : JSON, what it was read with
    ``@against`` : the piece that the work was laid on, where it was not its plate
    ``@aperture_mm`` : diameter of the circle that it is over, where that is smaller than the
        work's aperture, mm; all quantities of the reading are over this circle
    ``@place_x_mm`` : where the circle lay on the work, from its centre, mm
    ``@place_y_mm`` : likewise, mm
    ``@power_u_parts`` : JSON, standard uncertainty of power by contribution, fringes
    ``@reading_id`` : whose errors these are: digest of the photograph, or what was seen by eye
    ``@lamp_name`` : name of the lamp
    ``@lamp_source`` : where its wavelengths are from
    ``@lamp_trust`` : ``read``, ``memory`` or ``given``
    ``@lamp_note`` : what to know about the lamp
    ``@lamp_u_wavelength_nm`` : standard uncertainty of its wavelength, nm
    ``@ring_cx_px`` : centre of the rings, x, pixels
    ``@ring_cy_px`` : centre of the rings, y, pixels
    ``@ring_fit_step_px2`` : growth of the squared radius a ring, square pixels
    ``@ring_fit_step_u95_px2`` : half-width of its 95 % interval
    ``@ring_intercept_px2`` : squared radius at order zero, square pixels
    ``lamp_wavelength_nm(line)`` [nm] : the lamp's lines, in air
    ``lamp_weight(line)`` [1] : share of each
    ``lamp_fwhm_nm(line)`` [nm] : width of each at half its height
    ``term_n(term)`` [1] : Zernike radial index
    ``term_m(term)`` [1] : Zernike azimuthal index, negative for sines
    ``coefficient_fringes(term)`` [1] : gap at the rim, unnormalised terms, +y as in the
        photograph (down)
    ``covariance_fringes2(term, term_b)`` [1] : covariance of the coefficients
    ``steps_fringes(frame)`` [1] : of a burst, step of each frame against the first, modulo one
    ``ring_order(ring)`` [1] : order of each dark ring
    ``ring_radius_px(ring)`` [pixel] : radius of each dark ring
    ``x(x)`` [mm] : places of the gap map; [1], in semi-diameters, where no length is known
    ``y(y)`` [mm] : likewise, downwards
    ``gap_nm(y, x)`` [nm] : air gap along the plate's normal, from its lowest place; NaN
        outside the aperture
``/photograph_N`` : one photograph
    ``@file_name`` : its name when it was logged
    ``@media_type`` : for example ``image/jpeg``
    ``@sha256`` : SHA-256 of its bytes
    ``@refusal`` : why no reading was made of it
    ``data(byte)`` [1] : the file's original bytes
``/spherometer_N`` : readings of a spherometer
    ``@piece`` : ``work``, ``plate`` or the name of a piece
    ``@geometry`` : JSON, kind and dimensions of the instrument
    ``@options`` : JSON, what they were evaluated with
    ``@radius_mm`` : radius found, mm
    ``@radius_u_mm`` : its standard uncertainty, mm
    ``@power_fringes`` : on the work, with the plate read beside it: power over the aperture
    ``@power_u_fringes`` : its standard uncertainty
    ``@wavelength_nm`` : wavelength in air that those fringes are counted in, nm
    ``@radius_difference_mm`` : radius of the work less that of the plate, mm
    ``@radius_difference_u_mm`` : its standard uncertainty, mm
    ``@dof`` : degrees of freedom of both uncertainties, where they are limited
    ``height_mm(height)`` [mm] : readings on the piece
    ``zero_mm(zero)`` [mm] : readings on the flat
``/surface`` : the surface's record as it was, so that the file stands alone
    ``@name`` : true name
    ``@record_version`` : number of the record
    ``@form`` : ``convex`` or ``concave``
    ``@radius_mm`` : nominal radius, mm
    ``@radius_u_mm`` : its standard uncertainty, mm
    ``@diameter_mm`` : diameter of the aperture, mm
    ``@plate_name`` : name of the reference plate
    ``@plate_radius_mm`` : its certified radius, mm
    ``@plate_radius_u_mm`` : standard uncertainty of that, mm
    ``@tolerance_power_fringes`` : largest power allowed
    ``@tolerance_irregularity_fringes`` : largest irregularity allowed
    ``@tolerance_radius_difference_mm`` : largest radius difference allowed, mm
    ``@tolerance_wavelength_nm`` : wavelength that those fringes are counted in, nm
    ``@tolerance_rule`` : decision rule
    ``@lamp`` : usual lamp
    ``@glass`` : glass
    ``@note`` : free text
    ``@created_at`` : when the surface was added, ISO 8601 with offset
    ``@changed_at`` : when this version of its record was written

Variables also carry `long_name`, flags `flag_values` and `flag_meanings`, and tables
`_FillValue`.

Versions
--------
`schema_version` is 1. It rises only when a reader of an older version would misread the
file; a reader refuses a version newer than its own, and reads every older one for good. Names
may be added without a rise, and readers pass over names that they do not know. A file of each
version is kept among the tests.

Digests
-------
The last 128 bytes of a session file are one line of text after the HDF5 data, with the
SHA-256 of all bytes before it (``head -c -128 FILE | sha256sum``). So every byte of the file
is covered. `content_sha256` covers what the file says, and survives repacking: the SHA-256
over all objects by path, root first, then sorted. Each group or variable adds
``PATH`` + newline; each attribute, sorted, ``@NAME TYPE SHAPE`` + newline + its bytes; a
variable's values ``= TYPE SHAPE`` + newline + bytes. TYPE is numpy's, little-endian (``<f8``),
or ``text`` with the length in bytes as SHAPE; SHAPE is ``2,3``, and ``1`` for a single number
in an attribute. Left out are `content_sha256`, dimensions without a variable, and what
netCDF-4 keeps for itself (`_NCProperties`, `_Netcdf4Dimid`, `_Netcdf4Coordinates`, `CLASS`,
`NAME`, `DIMENSION_LIST`, `REFERENCE_LIST`). Chunks carry HDF5's Fletcher-32, object headers and
the places of chunks its own checksums.

Corrections
-----------
A session with `replaces` takes the place of the one that it names, which stays on disk and
is passed over. The last session of such a chain counts, at the place of the first one.
"""

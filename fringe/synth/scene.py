"""The content of a rendered photograph: frozen descriptions, checked when they are made.

Directions are degrees from +x toward +y of the photograph (x to the right, y down).
Form is in fringes of the lamp's mean wavelength, as at normal view.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from fringe.errors import BadInput
from fringe.optics.lamps import Lamp, lamp
from fringe.photo.ellipse import Edge

MAX_VIEW_ANGLE_DEG = 60.0
MAX_PIXELS = 120_000_000
BACKGROUNDS = ("dark", "paper", "bright", "textured", "plate")

Term = tuple[tuple[int, int], float]


@dataclass(frozen=True)
class Form:
    """The gap between work and plate over the unit disc [fringe].

    Attributes
    ----------
    power : float
        Rim minus centre of the sphere difference; positive when the gap opens toward the
        edge (contact at the centre), negative for contact at the edge.
    tilt : float
        Edge to centre, along `tilt_angle_deg`, toward which the gap opens.
    tilt_angle_deg : float
        Direction of the tilt [degree].
    zernike : tuple of ((n, m), value)
        Unnormalised terms (unit amplitude at the rim), m < 0 for sines.
    turned_edge : float
        Depth of a turned-down edge at the rim; positive opens the gap.
    turned_edge_width : float
        Width of the turned zone as a share of the semi-diameter.
    zone : float
        Height of a ring-shaped zone, a hole or a hump in the middle when its radius is 0;
        positive opens the gap.
    zone_radius, zone_width : float
        Radius of its middle and standard deviation across it, as shares of the semi-diameter.
    bump : float
        Height of a local spot; positive opens the gap.
    bump_place : tuple of 2 float
        Its middle (u, v) on the unit disc.
    bump_width : float
        Its standard deviation, as a share of the semi-diameter.
    pressed_radius : float
        Radius of a disc pressed flat at the contact, as a share of the semi-diameter;
        0 for none. Needs contact at the centre.
    min_gap_nm : float
        Smallest gap over the aperture, a film of air or dust [nm].
    """

    power: float = 5.0
    tilt: float = 0.0
    tilt_angle_deg: float = 0.0
    zernike: tuple[Term, ...] = ()
    turned_edge: float = 0.0
    turned_edge_width: float = 0.1
    zone: float = 0.0
    zone_radius: float = 0.6
    zone_width: float = 0.08
    bump: float = 0.0
    bump_place: tuple[float, float] = (0.3, 0.0)
    bump_width: float = 0.12
    pressed_radius: float = 0.0
    min_gap_nm: float = 120.0

    def __post_init__(self) -> None:
        """Refuse values that make no picture."""
        _finite(self, ("power", "tilt", "tilt_angle_deg", "turned_edge", "min_gap_nm"))
        _finite(self, ("zone", "bump"))
        _within("turned_edge_width", self.turned_edge_width, 1e-3, 1.0)
        _within("zone_radius", self.zone_radius, 0.0, 1.0)
        for name in ("zone_width", "bump_width"):
            _within(name, getattr(self, name), 1e-2, 1.0)
        for place in self.bump_place:
            _within("bump_place", place, -1.0, 1.0)
        _within("pressed_radius", self.pressed_radius, 0.0, 0.9)
        _within("min_gap_nm", self.min_gap_nm, 0.0, 1e7)
        if self.pressed_radius > 0 and self.power <= 0:
            raise BadInput("pressed_radius: a disc pressed flat needs a power greater than zero")
        for (n, m), value in self.zernike:
            if n < 0 or abs(m) > n or (n - m) % 2 or not math.isfinite(value):
                raise BadInput(f"zernike: ({n}, {m}) = {value} is not a Zernike term")

    def times(self, factor: float) -> Form:
        """All heights times a factor, places and widths as they are."""
        names = ("power", "tilt", "turned_edge", "zone", "bump")
        heights = {name: getattr(self, name) * factor for name in names}
        terms = tuple((term, value * factor) for term, value in self.zernike)
        return replace(self, zernike=terms, **heights)


@dataclass(frozen=True)
class Lighting:
    """Light on the work and around it; reflectances are shares of the brightest fringe.

    Attributes
    ----------
    contrast : float
        Contrast after stray light and the size of the source, 0 to 1; the lamp's own
        coherence and the camera's blur reduce it further.
    reflectance : float
        Of each glass surface.
    multiple_beams : bool
        Sum all reflections (Airy) instead of two beams.
    unevenness : float
        Brightest over darkest illumination on the work, 1 to 20.
    vignette : float
        Share of light that the optics lose in the corners of the frame, on top of it.
    background : str
        `dark`, `paper` (as bright as the work), `bright`, `textured` or `plate` (the work
        lies on a larger plate).
    background_level : float or None
        Brightness of it; `None` takes the kind's own.
    bevel_px : float
        Width of the chamfer outside the rim.
    bevel_level : float
        Its brightness; above 1 it glints.
    shadow : float
        Depth of the soft dark seam round the work, 0 to 1.
    cast_shadow : float
        Depth of a shadow with a soft straight border that falls over part of the frame.
    haze : float
        Relative unevenness of fine smears on the glass.
    ambient : float
        White room light, relative to the lamp's; it takes contrast as well.
    camera_shadow : float
        Depth of the dark reflection of the camera in the middle, 0 to 1.
    """

    contrast: float = 0.8
    reflectance: float = 0.04
    multiple_beams: bool = False
    unevenness: float = 1.5
    vignette: float = 0.0
    background: str = "dark"
    background_level: float | None = None
    bevel_px: float = 3.0
    bevel_level: float = 0.15
    shadow: float = 0.2
    cast_shadow: float = 0.0
    haze: float = 0.01
    ambient: float = 0.02
    camera_shadow: float = 0.0

    def __post_init__(self) -> None:
        """Refuse values that make no picture."""
        _within("contrast", self.contrast, 0.0, 1.0)
        _within("reflectance", self.reflectance, 1e-4, 0.95)
        _within("unevenness", self.unevenness, 1.0, 20.0)
        _within("bevel_px", self.bevel_px, 0.0, 1e3)
        _within("bevel_level", self.bevel_level, 0.0, 10.0)
        _within("shadow", self.shadow, 0.0, 1.0)
        _within("vignette", self.vignette, 0.0, 1.0)
        _within("cast_shadow", self.cast_shadow, 0.0, 1.0)
        _within("haze", self.haze, 0.0, 0.5)
        _within("ambient", self.ambient, 0.0, 10.0)
        _within("camera_shadow", self.camera_shadow, 0.0, 1.0)
        if self.background not in BACKGROUNDS:
            raise BadInput(
                f"background: {self.background!r} is not one of {', '.join(BACKGROUNDS)}"
            )


@dataclass(frozen=True)
class Dirt:
    """Number of objects over the fringes; their places follow from the scene's seed.

    Attributes
    ----------
    dust, hairs, scratches, glare, fingers, clips : int
        Numbers of each.
    finger_reach : float
        How far fingers and clips reach over the edge, as a share of the semi-diameter.
    graticule : bool
        A scale with a long cross line, as in a measuring eyepiece.
    crosshair : bool
        Two thin lines through the middle.
    """

    dust: int = 0
    hairs: int = 0
    scratches: int = 0
    glare: int = 0
    fingers: int = 0
    clips: int = 0
    finger_reach: float = 0.15
    graticule: bool = False
    crosshair: bool = False

    def __post_init__(self) -> None:
        """Refuse values that make no picture."""
        for name in ("dust", "hairs", "scratches", "glare", "fingers", "clips"):
            _within(name, getattr(self, name), 0, 10_000)
        _within("finger_reach", self.finger_reach, 0.0, 1.0)


@dataclass(frozen=True)
class Camera:
    """Optics, sensor and file of the camera.

    Attributes
    ----------
    blur_px : float
        Standard deviation of the optics' blur [px].
    supersample : int
        Samples a pixel along each axis.
    colour : str
        `bayer` (colour filter array, demosaiced), `rgb` (three full sensors) or `mono`.
    exposure : float
        Brightest fringe as a share of full scale; above 1 it clips.
    full_well : float
        Electrons at full scale; sets the shot noise.
    read_noise : float
        Electrons.
    colour_noise : float
        Blotches of colour, standard deviation as a share of full scale.
    noise : float
        Factor on all noise; 0 for none.
    sharpen : float
        Strength of the camera's sharpening (unsharp mask), 0 for none.
    white_balance : tuple of 3 float
        Gains of R, G, B.
    gamma : str
        `srgb` or `linear`.
    bits : int
        8 or 16.
    quality : int
        JPEG quality.
    orientation : int
        EXIF orientation 1 to 8 that the file is stored in.
    """

    blur_px: float = 0.7
    supersample: int = 2
    colour: str = "bayer"
    exposure: float = 0.85
    full_well: float = 12_000.0
    read_noise: float = 6.0
    colour_noise: float = 0.003
    noise: float = 1.0
    sharpen: float = 0.0
    white_balance: tuple[float, float, float] = (1.9, 1.0, 1.7)
    gamma: str = "srgb"
    bits: int = 8
    quality: int = 92
    orientation: int = 1

    def __post_init__(self) -> None:
        """Refuse values that make no picture."""
        _within("blur_px", self.blur_px, 0.0, 100.0)
        _within("exposure", self.exposure, 1e-3, 100.0)
        _within("full_well", self.full_well, 1.0, 1e9)
        _within("read_noise", self.read_noise, 0.0, 1e6)
        _within("colour_noise", self.colour_noise, 0.0, 1.0)
        _within("noise", self.noise, 0.0, 100.0)
        _within("sharpen", self.sharpen, 0.0, 5.0)
        _within("quality", self.quality, 1, 100)
        _one_of("supersample", self.supersample, tuple(range(1, 9)))
        _one_of("colour", self.colour, ("bayer", "rgb", "mono"))
        _one_of("gamma", self.gamma, ("srgb", "linear"))
        _one_of("bits", self.bits, (8, 16))
        _one_of("orientation", self.orientation, tuple(range(1, 9)))


@dataclass(frozen=True)
class Scene:
    """A photograph to render.

    Attributes
    ----------
    width, height : int
        Of the photograph [px].
    centre_px : tuple of 2 float or None
        Middle of the work's edge (x, y); `None` is the middle of the frame.
    radius_px : float or None
        Semi-diameter of the edge, its longer semi-axis; `None` fills 84 % of the frame.
    view_angle_deg : float
        Between the line of sight and the normal of the plate.
    view_direction_deg : float
        Direction in the photograph toward which the camera leans.
    camera_distance_mm : float or None
        From the work to the camera's pupil; `None` is far away.
    perspective : bool
        Draw the perspective of a near camera too (needs distance and diameter).
    diameter_mm : float or None
        Of the aperture that the edge is an image of.
    plate_radius_mm : float or None
        With the diameter: the exact shape of the gap between spheres instead of rho^2.
    work : str
        `convex` or `concave`, for the radius difference in the truth.
    form, lamp, bench, dirt, camera
        See there.
    seed : int
        Where dirt lies and how the light falls; the camera's noise has its own generator.
    """

    width: int = 1000
    height: int = 1000
    centre_px: tuple[float, float] | None = None
    radius_px: float | None = None
    view_angle_deg: float = 0.0
    view_direction_deg: float = 90.0
    camera_distance_mm: float | None = None
    perspective: bool = False
    diameter_mm: float | None = None
    plate_radius_mm: float | None = None
    work: str = "convex"
    form: Form = field(default_factory=Form)
    lamp: Lamp = field(default_factory=lambda: lamp("sodium"))
    bench: Lighting = field(default_factory=Lighting)
    dirt: Dirt = field(default_factory=Dirt)
    camera: Camera = field(default_factory=Camera)
    seed: int = 0

    def __post_init__(self) -> None:
        """Refuse values that make no picture."""
        _within("width", self.width, 16, 30_000)
        _within("height", self.height, 16, 30_000)
        if self.width * self.height > MAX_PIXELS:
            raise BadInput(f"{self.width} x {self.height} pixels: {MAX_PIXELS} at most")
        _within("view_angle_deg", self.view_angle_deg, 0.0, MAX_VIEW_ANGLE_DEG)
        _one_of("work", self.work, ("convex", "concave"))
        for name in ("radius_px", "diameter_mm", "plate_radius_mm", "camera_distance_mm"):
            value = getattr(self, name)
            if value is not None and not 0 < value < math.inf:
                raise BadInput(f"{name}: {value} is not greater than zero")
        if self.plate_radius_mm is not None:
            self._check_plate(self.plate_radius_mm)
        if self.camera_distance_mm is not None and self.diameter_mm is None:
            raise BadInput("camera_distance_mm: needs diameter_mm too, to know the angles of view")
        if self.perspective and self.camera_distance_mm is None:
            raise BadInput("perspective: needs camera_distance_mm and diameter_mm")

    def _check_plate(self, radius_mm: float) -> None:
        if self.diameter_mm is None:
            raise BadInput("plate_radius_mm: needs diameter_mm too, to know the sphere's shape")
        if self.diameter_mm >= 2 * radius_mm:
            raise BadInput(
                f"diameter_mm: {self.diameter_mm} is not less than twice the plate's "
                f"radius {radius_mm}"
            )

    @property
    def boost(self) -> float:
        """Perspective shift of the centre, as a share of the semi-diameter, 0 when far."""
        if not self.perspective or self.camera_distance_mm is None or self.diameter_mm is None:
            return 0.0
        slant = math.sin(math.radians(self.view_angle_deg))
        return 0.5 * self.diameter_mm / self.camera_distance_mm * slant

    @property
    def edge(self) -> Edge:
        """The image of the aperture's rim [px]."""
        cx, cy = self.centre_px or ((self.width - 1) / 2, (self.height - 1) / 2)
        a = self.radius_px or 0.42 * min(self.width, self.height)
        squash = math.cos(math.radians(self.view_angle_deg)) / math.sqrt(1 - self.boost**2)
        angle = (self.view_direction_deg + 90.0) % 180.0
        return Edge(cx, cy, a, a * min(squash, 1.0), 0.0 if squash >= 1.0 else angle)

    def to_json(self) -> dict[str, object]:
        """Return every input as plain values for JSON."""
        values: dict[str, Any] = asdict(self)
        values["lamp"] = {
            "name": self.lamp.name,
            "lines": [
                {"wavelength_nm": i.wavelength_nm, "weight": i.weight, "fwhm_nm": i.fwhm_nm}
                for i in self.lamp.lines
            ],
        }
        return values


def _finite(owner: object, names: tuple[str, ...]) -> None:
    for name in names:
        if not math.isfinite(getattr(owner, name)):
            raise BadInput(f"{name}: {getattr(owner, name)} is not a finite number")


def _within(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise BadInput(f"{name}: {value} lies outside {low:g} to {high:g}")


def _one_of(name: str, value: object, allowed: tuple[object, ...]) -> None:
    if value not in allowed:
        raise BadInput(f"{name}: {value!r} is not one of {', '.join(map(str, allowed))}")

"""The common style of all figures: colours, type, and a sheet laid out in inches.

Nothing here touches global state: every figure is made inside :func:`styled`, on an Agg
canvas of its own. Lightness carries every distinction, so that figures survive greyscale
print and colour-blind readers; colour only repeats it.
"""

from __future__ import annotations

import functools
import io
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, ParamSpec, TypeVar

import matplotlib.style
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.lines import Line2D
from matplotlib.text import Text
from numpy.typing import NDArray
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from fringe.format import figures

if TYPE_CHECKING:
    from fringe.orders.reading import Reading

INK = "#14242d"
MUTED = "#51616b"
HAIRLINE = "#b7c2c8"
PAPER = "#ffffff"
TEAL = "#0b5468"
AMBER = "#f39a1e"
BRICK = "#8f3b12"
BAND = "#dfe7ea"

# near and far: lightness falls evenly from paper to ink, hue turns from straw to deep water
GAP_COLOURS = ("#fbf6e6", "#d5ded0", "#a4c1c0", "#6b9fab", "#387a8f", "#16536c", "#0a2d42")
# below and above: hue tells the sign; lightness falls all the way, so that print in grey does, too
HEIGHT_COLOURS = ("#fff3d6", "#f6d592", "#dcb26a", "#adb3a6", "#6c9dac", "#2f6c84", "#0a2d42")

DPI = 220
_COMPRESS_LEVEL = 4  # of PNG, 0 to 9
WIDTH_IN = 7.5
MARGIN_IN = 0.3
# a column of a report: two stand side by side on paper, one fills a telephone with its type at
# full size; the page around it says title and facts
COLUMN_IN = 3.6
_COLUMN_MARGIN_IN = 0.04
BODY_PT = 9.0
SMALL_PT = 8.0

_FAMILY = "DejaVu Sans"  # comes with matplotlib, so figures look the same everywhere
_RC: dict[str, Any] = {
    "font.family": _FAMILY,
    "font.size": BODY_PT,
    "text.color": INK,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.labelsize": BODY_PT,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
    "xtick.direction": "out",
    "ytick.direction": "out",
    "figure.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "hatch.linewidth": 0.5,
    "hatch.color": HAIRLINE,
}

Dashes = Literal["solid", "dashed", "dotted"] | tuple[float, Sequence[float]]
P = ParamSpec("P")
T = TypeVar("T")


def styled(make: Callable[P, T]) -> Callable[P, T]:
    """Run a figure's function in this style, whatever the caller's settings are."""

    @functools.wraps(make)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> T:
        with matplotlib.style.context(["default", _RC]):
            return make(*args, **kwargs)

    return wrapped


def gap_colormap() -> LinearSegmentedColormap:
    """Colours of a gap: straw where the pieces touch, darkening evenly as the gap opens."""
    return LinearSegmentedColormap.from_list("fringe-gap", GAP_COLOURS)


def height_colormap() -> LinearSegmentedColormap:
    """Colours of a signed gap: straw and amber below, grey at zero, teal above."""
    return LinearSegmentedColormap.from_list("fringe-height", HEIGHT_COLOURS)


@dataclass(frozen=True)
class Facts:
    """What every figure says about itself.

    Attributes
    ----------
    wavelength_nm : float or None
        Wavelength that fringes are counted in [nm].
    diameter_mm : float or None
        Diameter of the aperture [mm].
    diameter_px : float or None
        Longest diameter of the aperture in the photograph [px].
    surface : str or None
        Name of the surface.
    when : str or None
        Date, or date and time.
    edgeless : bool
        True for a photograph without the aperture's edge.
    """

    wavelength_nm: float | None = None
    diameter_mm: float | None = None
    diameter_px: float | None = None
    surface: str | None = None
    when: str | None = None
    edgeless: bool = False

    @classmethod
    def of_reading(
        cls, reading: Reading, diameter_mm: float | None, surface: str | None, when: str | None
    ) -> Facts:
        """Those of a figure of one reading."""
        edge_px = 2 * reading.edge.a if reading.edge else None
        return cls(reading.wavelength_nm, diameter_mm, edge_px, surface, when)

    def line(self) -> str:
        """Return the facts that are known as one line of text."""
        parts = [self.surface, self.when, self._aperture()]
        if self.wavelength_nm is not None:
            parts.append(wavelength_text(self.wavelength_nm))
        return "  ·  ".join(part for part in parts if part)

    def _aperture(self) -> str:
        sizes = []
        if self.diameter_mm is not None:
            sizes.append(f"{figures(self.diameter_mm, 5)} mm")
        if self.diameter_px is not None:
            sizes.append(f"{self.diameter_px:.0f} px")
        if not sizes:
            return "no edge in view" if self.edgeless else ""
        return f"aperture ⌀ {sizes[0]}" + (f" ({sizes[1]})" if len(sizes) > 1 else "")


def wavelength_text(wavelength_nm: float) -> str:
    """Return a wavelength as figures state it, for example ``λ = 589.3 nm``."""
    return f"λ = {figures(wavelength_nm, 5)} nm"


def printable(text: str) -> str:
    """Put a box for each character that the figures' font lacks, and spaces for line ends."""
    known = _known_characters()
    flat = text.replace("\n", " ").replace("\t", " ")
    return "".join(c if ord(c) in known else "▯" for c in flat)


@functools.lru_cache(maxsize=1)
def _known_characters() -> frozenset[int]:
    return frozenset(get_font(findfont(_FAMILY)).get_charmap())


@functools.lru_cache(maxsize=1)
def _renderer() -> RendererAgg:
    return RendererAgg(8, 8, DPI)  # type: ignore[no-untyped-call]


@functools.lru_cache(maxsize=4096)
def text_width_in(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Width of one line of text in the figures' type [inch]."""
    properties = FontProperties(family=_FAMILY, size=size_pt, weight="bold" if bold else "normal")
    measure: Callable[..., tuple[float, float, float]] = _renderer().get_text_width_height_descent
    return float(measure(text, properties, False)[0]) / DPI


def line_height_in(size_pt: float) -> float:
    """Distance from one line of text to the next [inch]."""
    return 1.38 * size_pt / 72.0


def wrap(text: str, width_in: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """Break text into lines that fit a width, words longer than a line included.

    Parameters
    ----------
    text : str
        Any text; characters that the type lacks become boxes.
    width_in : float
        Width to fit [inch].
    size_pt : float
        Size of the type [point].
    bold : bool
        Weight of the type.

    Returns
    -------
    list of str
        At least one line.
    """

    def fits(line: str) -> bool:
        return text_width_in(line, size_pt, bold=bold) <= width_in

    def count_that_fits(parts: Sequence[str], between: str) -> int:
        # more parts make a wider line, so few widths need to be measured
        most = 8
        while most < len(parts) and fits(between.join(parts[:most])):
            most *= 2
        counts = range(1, min(most, len(parts)) + 1)
        return bisect_left(counts, True, key=lambda n: not fits(between.join(parts[:n])))

    lines: list[str] = []
    words = printable(text).split()
    while words:
        count = count_that_fits(words, " ")
        if count == 0:  # a word longer than the line is broken
            kept = max(1, count_that_fits(words[0], ""))
            words[:1] = [part for part in (words[0][:kept], words[0][kept:]) if part]
            count = 1
        lines.append(" ".join(words[:count]))
        words = words[count:]
    return lines or [""]


class Sheet:
    """A figure on which things are placed in inches from its top left corner.

    The height is set at the end (:meth:`finish`), once the text has shown how much room it
    needs; so nothing is squeezed and nothing overlaps.
    """

    def __init__(self, width_in: float = WIDTH_IN) -> None:
        self.width_in = width_in
        self.is_column = width_in < WIDTH_IN
        self.margin_in = _COLUMN_MARGIN_IN if self.is_column else MARGIN_IN
        self.figure = Figure(figsize=(width_in, 1.0), dpi=DPI, facecolor=PAPER)
        FigureCanvasAgg(self.figure)
        self._boxes: list[tuple[Axes, tuple[float, float, float, float]]] = []
        self._texts: list[tuple[Text, float]] = []
        self._lines: list[tuple[Line2D, float, float]] = []

    @property
    def inner_in(self) -> float:
        """Width between the margins [inch]."""
        return self.width_in - 2 * self.margin_in

    def axes(self, left: float, top: float, width: float, height: float, **kwargs: Any) -> Axes:
        """Add axes whose frame has this place and size [inch]."""
        axes = self.figure.add_axes((0.1, 0.1, 0.5, 0.5), label=str(len(self._boxes)), **kwargs)
        self._boxes.append((axes, (left, top, width, height)))
        return axes

    def text(
        self,
        left: float,
        top: float,
        text: str,
        size_pt: float = BODY_PT,
        *,
        colour: str = INK,
        bold: bool = False,
        align: str = "left",
    ) -> float:
        """Write one line whose line box starts at `top`; return where the next would start."""
        height = line_height_in(size_pt)
        artist = self.figure.text(
            left / self.width_in,
            0.0,
            printable(text),
            fontsize=size_pt,
            color=colour,
            fontweight="bold" if bold else "normal",
            ha=align,
            va="baseline",
            parse_math=False,
        )
        self._texts.append((artist, top + 0.78 * height))
        return top + height

    def paragraph(
        self,
        left: float,
        top: float,
        width: float,
        text: str,
        size_pt: float = BODY_PT,
        *,
        colour: str = INK,
        bold: bool = False,
    ) -> float:
        """Write wrapped text; return where the next line would start."""
        for line in wrap(text, width, size_pt, bold=bold):
            top = self.text(left, top, line, size_pt, colour=colour, bold=bold)
        return top

    def rule(
        self,
        left: float,
        top: float,
        width: float,
        *,
        colour: str = HAIRLINE,
        weight_pt: float = 0.6,
        dashes: Dashes = "solid",
        down: float = 0.0,
    ) -> None:
        """Draw a horizontal rule, or a slanted or upright one when `down` is not zero."""
        x0, x1 = left / self.width_in, (left + width) / self.width_in
        line = Line2D(
            (x0, x1),
            (0, 0),
            color=colour,
            linewidth=weight_pt,
            linestyle=dashes,
            solid_capstyle="butt",
            transform=self.figure.transFigure,
        )
        self.figure.add_artist(line)
        self._lines.append((line, top, down))

    def mark(self, left: float, top: float, marker: str, face: str, edge: str) -> None:
        """Draw one marker, its middle at this place [inch]."""
        line = Line2D(
            (left / self.width_in,) * 2,
            (0, 0),
            marker=marker,
            linestyle="none",
            markersize=6.0,
            markerfacecolor=face,
            markeredgecolor=edge,
            markeredgewidth=1.2,
            transform=self.figure.transFigure,
        )
        self.figure.add_artist(line)
        self._lines.append((line, top, 0.0))

    def heading(self, title: str, facts: Facts) -> float:
        """Write the title and the facts; return where the figure's body starts.

        A column has neither: the page around it says them.
        """
        if self.is_column:
            return self.margin_in
        width = self.inner_in
        self.rule(MARGIN_IN, 0.2, width, colour=INK, weight_pt=0.7)
        self.rule(MARGIN_IN, 0.22, 0.62, colour=AMBER, weight_pt=3.6)
        top = self.paragraph(MARGIN_IN, 0.3, width, title, 12.5, bold=True)
        return self.paragraph(MARGIN_IN, top + 0.01, width, facts.line(), colour=MUTED) + 0.12

    def finish(self, height_in: float) -> Figure:
        """Set the figure's height and put everything in its place."""
        self.figure.set_size_inches(self.width_in, height_in)
        for axes, (left, top, width, height) in self._boxes:
            axes.set_position(
                (
                    left / self.width_in,
                    1 - (top + height) / height_in,
                    width / self.width_in,
                    height / height_in,
                )
            )
        for text, baseline in self._texts:
            text.set_y(1 - baseline / height_in)
        for line, top, down in self._lines:
            line.set_ydata([1 - top / height_in, 1 - (top + down) / height_in])
        return self.figure


class Key:
    """What marks stand for: entries in a row, going on in the next where the sheet ends.

    Parameters
    ----------
    sheet : Sheet
    top : float
        Where the first row starts [inch].
    size_pt : float
        Size of the type [point].
    """

    def __init__(self, sheet: Sheet, top: float, size_pt: float = SMALL_PT) -> None:
        self._sheet, self._top, self._size_pt = sheet, top, size_pt
        self._left = sheet.margin_in

    def place(self, mark_in: float, text: str) -> tuple[float, float]:
        """Write an entry beside room for its mark; return where the mark goes: left and top."""
        wide = mark_in + text_width_in(text, self._size_pt)
        end = self._sheet.width_in - self._sheet.margin_in
        if self._left > self._sheet.margin_in and self._left + wide > end:
            self._left, self._top = self._sheet.margin_in, self._top + 0.2
        left = self._left
        self._sheet.text(left + mark_in, self._top, text, self._size_pt)
        self._left += wide + 0.24
        return left, self._top

    @property
    def bottom(self) -> float:
        """Where what comes next may start [inch]."""
        return self._top + 0.24


def png_bytes(figure: Figure, *, dpi: float = DPI) -> bytes:
    """Render a figure as PNG."""
    canvas = figure.canvas
    assert isinstance(canvas, FigureCanvasAgg)
    figure.set_dpi(dpi)
    canvas.draw()  # type: ignore[no-untyped-call]
    # nothing is transparent: three channels are smaller and sooner packed than four
    rgba: NDArray[np.uint8] = np.asarray(canvas.buffer_rgba())  # type: ignore[no-untyped-call]
    picture = Image.fromarray(rgba).convert("RGB")
    about = PngInfo()
    about.add_text("Software", "fringe")
    buffer = io.BytesIO()
    picture.save(buffer, "png", compress_level=_COMPRESS_LEVEL, dpi=(dpi, dpi), pnginfo=about)
    return buffer.getvalue()

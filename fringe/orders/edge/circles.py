"""What rough circles show: fringes in their middles, clear ones or not, and whether these go on."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property

from fringe.errors import Refused
from fringe.orders.agreement import Patches, patches_of
from fringe.orders.beyond import goes_on_beyond
from fringe.orders.edge.candidates import bright_discs, rough_circles
from fringe.orders.edge.fringed import FringesEnd, where_fringes_end
from fringe.orders.edge.outlines import outlines
from fringe.orders.few import less_than_one_fringe, shows_no_fringe
from fringe.orders.fit.best_start import ALL, FEWEST_PIXELS, fit_for_evidence, is_noisy_but_right
from fringe.orders.fit.carry import carried
from fringe.orders.fit.field import Field, cut_field
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.pixels import pixels_of
from fringe.orders.fit.scale import level_for
from fringe.orders.fit.solve import middle_fit, middle_fits
from fringe.orders.fit.tiles import pyramid_tiles
from fringe.orders.ring_growth import (
    TileGrowth,
    growth_of_tiles,
    growth_warnings,
    refuse_clear_marks,
    ring_growth,
)
from fringe.orders.winding import refuse_spirals
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo

MIDDLE_SHARE = 0.96  # of a rough circle, within which there is nothing but fringes
_LEAST_EXPLAINED = 0.6  # of the fringes' variance, in a circle that is examined further
MOST_MISFIT = 0.7  # of the fringes' amplitude, likewise
# Share of the variance, and of the patches, in which there must be fringes for them to be clear: in
# circles about works that are off by a sixth 0.85 to 1 and 0.75 to 1, in parts of smooth pictures
# that few fringes mimic 0.6 to 1 and 0.2 to 0.7
_CLEARLY, _FRINGED = 0.8, 0.65
# The same share of patches where so little is left, as a share of the fringes' amplitude: broad
# fringes vary too little in many patches; of works 0.01 to 0.03 is left, of smooth pictures 0.04
# and more
_BROADLY, _LITTLE_LEFT = 0.25, 0.04
# shares of the fringes' variance and of the pixels from which a fit is right; of the radius of a
# circle that is too large, within which there is nothing but fringes
_WELL_EXPLAINED, _WELL_USED, _INMOST_SHARE = 0.97, 0.95, 0.75
# the first of these of noisy fringes, where what is bare would take more than a tenth
_MOSTLY_EXPLAINED = 0.9
_ENCLOSING = 2  # first circles, which may be outlines of something bright about the work
# radius of a circle about which lies some of the frame, as a share of the way to its end
_ROOM = 0.8


class Circles:
    """Rough circles that may be the work's edge, likeliest first; each is sought when requested."""

    def __init__(self, photo: Photo) -> None:
        self.photo = photo

    def __iter__(self) -> Iterator[Circle]:
        """Circles, with the fringes in their middles.

        Before a circle that encloses more than fringes, a plate's or a bright cell's, comes the
        curve within it where they end; it is left out where bare light goes on from there to it.

        Raises
        ------
        Refused
            For rings of one spacing that leave no doubt, before anything else is made of them.
        """
        for number, edge in enumerate(rough_circles(self.photo)):
            circle = None
            with contextlib.suppress(Refused):  # too little light in this circle: try the others
                circle = Circle(self, edge)
            if circle is None:
                continue
            circle.refuse_clear_marks()
            with contextlib.suppress(Refused):
                end = circle.end() if number < _ENCLOSING else None
                if end is not None:
                    yield Circle(self, end.edge, end.model)
                if end is None or not end.bare:
                    yield circle

    def sharp(self) -> Iterator[Circle]:
        """Outlines that are sharp all round, for when no rough circle led to an edge."""
        for edge in outlines(self.photo):
            with contextlib.suppress(Refused):
                yield Circle(self, edge, sharp=True)

    @cached_property
    def matched(self) -> Edge | None:
        """The innermost bright disc, where none of them shows a fringe."""
        discs = list(bright_discs(self.photo))
        no_fringe = bool(discs) and all(shows_no_fringe(self.photo, disc) for disc in discs)
        return discs[0] if no_fringe else None


class Circle:
    """A rough circle.

    Attributes
    ----------
    edge : Edge
    middle : Fit or None
        Of the fringes in its middle, where they can be followed.
    at_end : bool
        Whether it lies where fringes end.
    is_sharp : bool
        Whether it is an outline that is sharp all round.
    """

    def __init__(
        self,
        circles: Circles,
        edge: Edge,
        known: OrderModel | None = None,
        *,
        sharp: bool = False,
    ) -> None:
        self._circles, self.edge, self.at_end = circles, edge, known is not None
        self.is_sharp = sharp
        fits = middle_fits(circles.photo, edge, MIDDLE_SHARE, known)
        fit = None if fits is None else fits[0]
        self._start = None if fits is None else fits[1]
        followed = fit is not None and fit.explained >= _LEAST_EXPLAINED and fit.rms <= MOST_MISFIT
        self.middle = fit if followed else None

    @cached_property
    def is_clear(self) -> bool:
        """Whether fringes fill it, as far as the frame shows it."""
        if self.middle is None:
            return False
        fringed = _BROADLY if self.middle.rms < _LITTLE_LEFT else _FRINGED
        return self.middle.explained > _CLEARLY and self._patches.fringed > fringed

    def end(self) -> FringesEnd | None:
        """Where fringes end all round, well within it."""
        photo, fit = self._circles.photo, self.middle
        if fit is None:
            return None
        if is_noisy_but_right(fit) and _MOSTLY_EXPLAINED < fit.explained < _WELL_EXPLAINED:
            return None  # followed all over it, with noise that no smaller circle would take out
        if fit.explained < _WELL_EXPLAINED or fit.used < _WELL_USED:
            # what lies about the fringes may have led the fit astray
            fit = middle_fit(photo, self.edge, _INMOST_SHARE)
        if fit is None or fit.explained < _WELL_EXPLAINED:
            return None
        return where_fringes_end(photo, self.edge, fit)

    def refuse_clear_marks(self) -> None:
        """Refuse rings of one spacing that leave no doubt.

        A fit of few terms cannot tell them from a form, but it shows what may be such rings; a fit
        of most terms tells them, by itself or together with the light.
        """
        photo, start = self._circles.photo, self._start
        if start is None or self.middle is None or not ring_growth(self.middle.model).is_no_sphere:
            return
        if len(start.model.terms) < len(ALL):
            if not self._tile_growth.is_of_one_spacing:
                return
            inner = replace(self.edge, a=MIDDLE_SHARE * self.edge.a, b=MIDDLE_SHARE * self.edge.b)
            level = level_for(cut_field(photo, inner, 1), start.model.steepest())
            start = fit_for_evidence(pixels_of(level, FEWEST_PIXELS), start)
        refuse_clear_marks(photo.name, start.model)
        if self._tile_growth.is_of_one_spacing:
            growth_warnings(photo.name, start.model, start.model.span())

    def refuse_no_fringes(self) -> None:
        """Refuse rings of one spacing in it, and light without a fringe on all that is bright.

        Both are told by the light alone, without a fit.
        """
        photo = self._circles.photo
        if self._circles.matched is not None:
            raise less_than_one_fringe(photo, self._circles.matched)
        self._tile_growth.warnings(photo.name)

    def leads_nowhere(self) -> bool:
        """Tell whether the lines in it go on beyond it, as far as the picture shows.

        Raises
        ------
        Refused
            When they wind or have one spacing, so that no edge makes them fringes, or when what is
            bright in the picture shows less than one.
        """
        self.refuse_no_fringes()
        assert self.middle is not None
        photo, model = self._circles.photo, self.middle.model
        growth_warnings(photo.name, model, model.span())
        refuse_spirals(photo.name, model, self._patches)
        inner = self._surrounded()
        return inner.a > 0 and goes_on_beyond(photo, inner, carried(model, self.edge, inner))

    @cached_property
    def _field(self) -> Field:
        return cut_field(self._circles.photo, self.edge, 1)

    @cached_property
    def _tile_growth(self) -> TileGrowth:
        return growth_of_tiles(pyramid_tiles(self._field))

    @cached_property
    def _patches(self) -> Patches:
        assert self.middle is not None
        return patches_of(level_for(self._field, self.middle.model.steepest()), self.middle)

    def _surrounded(self) -> Edge:
        """The circle, or a smaller one about its middle that has room in the frame around it."""
        edge, photo = self.edge, self._circles.photo
        room = min(edge.cx, edge.cy, photo.width - edge.cx, photo.height - edge.cy)
        radius = max(0.0, min(edge.a, _ROOM * room))
        return replace(edge, a=radius, b=radius)

"""Types of the options' values, options that commands share, and options gathered in one value."""

from __future__ import annotations

import dataclasses
import functools
import importlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal, TypeVar

import click
from click.core import ParameterSource

from fringe.errors import BadInput
from fringe.units import TypedLength, length_mm, number, positive_length_mm

F = TypeVar("F", bound=Callable[..., Any])
NM_PER_MM = 1e6


class Length(click.ParamType):  # type: ignore[type-arg]
    """A length with its unit on the command line; the command gets it in millimetres."""

    name = "length"

    def __init__(self, *, signed: bool = False, unit: str = "mm", scale: float = 1.0) -> None:
        self.signed = signed
        self.unit = unit  # what is proposed where none was typed
        self.scale = scale  # of the command's unit, for a millimetre

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text; a BadInput passes through to the one-line error of `main`."""
        if isinstance(value, float):
            return value
        read = length_mm if self.signed else positive_length_mm
        return read(str(value), _what(param, "length"), self.unit) * self.scale


class CertifiedLength(Length):
    """A length, with its expanded uncertainty where a certificate's line is typed.

    The command gets the length; :func:`gathered` gives the standard uncertainty to the field
    that an option of its own would fill, and keeps the text.
    """

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text; a BadInput passes through to the one-line error of `main`."""
        if isinstance(value, float):
            return value
        from fringe.certificates import certified

        read = certified(str(value), _what(param, "length"), self.unit)
        if read.u is not None and ctx is not None and param is not None:
            _implied(ctx)[_u_name(str(param.name))] = (read.u * self.scale, param.opts[0])
            _typed(ctx).append(f"{param.opts[0]} {read.text}")
        assert read.value is not None
        return read.value * self.scale


class Uncertainty(click.ParamType):  # type: ignore[type-arg]
    """A standard uncertainty, or an expanded one with its coverage; the command gets the former.

    Parameters
    ----------
    unit : str or None
        Unit that is proposed for a length; None: a number without one.
    scale : float
        Of the command's unit, for a millimetre.
    """

    name = "uncertainty"

    def __init__(self, unit: str | None = "mm", scale: float = 1.0) -> None:
        self.unit = unit
        self.scale = scale

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text; a BadInput passes through to the one-line error of `main`."""
        if isinstance(value, float):
            return value
        from fringe.certificates import standard_uncertainty

        what = _what(param, "uncertainty")
        plain = self.unit is None
        read = standard_uncertainty(str(value), what, self.unit or "", plain=plain)
        if read.text is not None and ctx is not None:
            _typed(ctx).append(f"{what} {read.text}")
        assert read.u is not None
        return read.u * self.scale


def _typed(context: click.Context) -> list[str]:
    """Expanded uncertainties of this command as they were typed."""
    texts: list[str] = context.meta.setdefault("fringe.cli.as_typed", [])
    return texts


def _implied(context: click.Context) -> dict[str, tuple[float, str]]:
    """Standard uncertainties that came with a value, by their field, and the value's option."""
    found: dict[str, tuple[float, str]] = context.meta.setdefault("fringe.cli.implied_u", {})
    return found


def _u_name(name: str) -> str:
    """Name of the uncertainty of a parameter: `radius_u_mm` of `radius_mm`."""
    stem, _, unit = name.rpartition("_")
    return f"{stem}_u_{unit}"


class Written(click.Path):
    """A file or folder that the command writes; said at once where that cannot be.

    Parameters
    ----------
    endings : str
        Endings that the name may have, as `.png`.
    kind : str
        `file`; `folder`, to be made or filled; `new`, either, where nothing is yet; or
        `either`, which the command checks itself.
    """

    def __init__(
        self, *endings: str, kind: Literal["file", "folder", "new", "either"] = "file"
    ) -> None:
        super().__init__(path_type=Path)
        self.endings = endings
        self.kind = kind

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Make a path of the text; raises `BadInput` if nothing can be written there."""
        path = Path(value)
        if self.kind == "either" or (ctx is not None and ctx.resilient_parsing):
            return path  # the Tab key asks, and must write nothing
        from fringe import files

        option = param.opts[0] if isinstance(param, click.Option) else None
        if self.kind == "folder":
            return files.check_folder(path, option=option)
        if self.kind == "new":
            return files.check_new(path, option=option)
        return files.check_file(path, endings=self.endings, option=option)


class LengthList(click.ParamType):  # type: ignore[type-arg]
    """Lengths in a row, as `808um,807.5um` or `376;377 um`; the command gets a `TypedLength` each.

    See :func:`fringe.length_lists.typed_lengths` for what a comma means.
    """

    name = "lengths"

    def __init__(self, *, signed: bool = False, unit: str = "mm") -> None:
        self.signed = signed
        self.unit = unit  # what is proposed where none was typed

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[TypedLength, ...]:
        """Read the text; BadInput passes through to the one-line error of `main`."""
        if isinstance(value, tuple):
            return value
        from fringe.length_lists import typed_lengths

        return typed_lengths(str(value), _what(param, "lengths"), self.unit, signed=self.signed)


class Number(click.ParamType):  # type: ignore[type-arg]
    """A finite number: a decimal comma is taken as well as a point, and a fraction as `1/4`."""

    name = "number"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text; BadInput passes through to the one-line error of `main`."""
        return value if isinstance(value, float) else number(str(value), _what(param, "number"))


class Percent(Number):
    """A finite number, with or without its per cent sign."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text as `Number` does."""
        return super().convert(
            value.strip().removesuffix("%") if isinstance(value, str) else value, param, ctx
        )


class PositiveNumber(Number):
    """A finite number greater than zero."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text as `Number` does, and refuse zero and less."""
        read = super().convert(value, param, ctx)
        if read <= 0:
            raise BadInput(f"{_what(param, 'number')}: {value!r} is not greater than zero")
        return read


class SenseWord(click.Choice):  # type: ignore[type-arg]
    """Where the contact is: `centre` or `edge`, perhaps `auto`; `center` is `centre`."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read the word in either spelling."""
        return super().convert("centre" if value == "center" else value, param, ctx)


def _what(param: click.Parameter | None, else_: str) -> str:
    return else_ if param is None else param.opts[0]


LENGTH = Length()
WAVELENGTH_NM = Length(unit="nm", scale=NM_PER_MM)
LENGTHS = LengthList()
SIGNED_LENGTHS = LengthList(signed=True)
SAGITTAS = LengthList(signed=True, unit="um")
NUMBER = Number()
PERCENT = Percent()
PATH = click.Path(path_type=Path)
PICTURE = Written(".png")
FORM = click.Choice(["convex", "concave"])
RULE = click.Choice(["simple", "guard95", "shrinkU"])
SENSE = SenseWord(["auto", "centre", "edge"])


def gathered(**kinds: str) -> Callable[[F], Callable[..., None]]:
    """Give a command its options as frozen dataclasses, each with those that it has fields for.

    Parameters
    ----------
    **kinds
        Parameter of the command, and the dataclass that it receives as `module.Class`: that is
        imported when the command runs, not when it is defined. An option that is not given
        leaves the field its default.
    """

    def decorate(function: F) -> Callable[..., None]:
        @functools.wraps(function)
        def command(*args: object, **given: object) -> None:
            _take_stated_uncertainties(given)
            made = {}
            for name, path in kinds.items():
                kind = dataclass_at(path)
                fields = [field.name for field in dataclasses.fields(kind) if field.name in given]
                said = {key: given.pop(key) for key in fields}
                made[name] = kind(**{key: v for key, v in said.items() if v is not None})
            given.pop("as_typed", None)  # no part of this command keeps it
            function(*args, **made, **given)

        command.gathered_kinds = kinds  # type: ignore[attr-defined]
        return command

    return decorate


def typed_options(gathered_values: Any) -> tuple[str, ...]:
    """Names of the fields of a dataclass that were typed, though it be what holds without."""
    context = click.get_current_context()
    names = [field.name for field in dataclasses.fields(gathered_values)]
    return tuple(n for n in names if context.get_parameter_source(n) is ParameterSource.COMMANDLINE)


def _take_stated_uncertainties(given: dict[str, Any]) -> None:
    """Put in what certificate lines say besides their value: standard uncertainties, texts."""
    context = click.get_current_context(silent=True)
    if context is None:
        return
    for name, (u, option) in _implied(context).items():
        if given.get(name) is not None:
            raise BadInput(f"{option}: its uncertainty is given twice; leave {option}-u out")
        given[name] = u
    if _typed(context):
        given["as_typed"] = "; ".join(_typed(context))


def dataclass_at(path: str) -> type[Any]:
    """Import the dataclass that a dotted path names."""
    module, _, name = path.rpartition(".")
    found: type[Any] = getattr(importlib.import_module(module), name)
    return found


def length(
    flag: str,
    help: str,
    *,
    signed: bool = False,
    nm: bool = False,
    required: bool = False,
    certified: bool = False,
) -> Callable[[F], F]:
    """Make an option that takes a length, and that the command gets as `..._mm` or `..._nm`.

    One that is `certified` also takes its expanded uncertainty, for the option `FLAG-u`.
    """
    unit = "nm" if nm else "mm"
    scale = NM_PER_MM if nm else 1.0
    kind = CertifiedLength(scale=scale) if certified else Length(signed=signed, scale=scale)
    name = f"{flag.removeprefix('--').replace('-', '_')}_{unit}"
    return click.option(flag, name, type=kind, metavar="L", required=required, help=help)


def uncertainty(flag: str, unit: str, help: str) -> Callable[[F], F]:
    """Make an option that takes an uncertainty, and that the command gets as `..._unit`.

    Its unit is `mm` or `nm`, of a length with its own unit; else that of a plain number.
    """
    kind = Uncertainty("mm", NM_PER_MM if unit == "nm" else 1.0)
    if unit not in ("mm", "nm"):
        kind = Uncertainty(None)
    name = f"{flag.removeprefix('--').replace('-', '_')}_{unit}"
    metavar = {"mm": "U", "nm": "U", "k": "K", "px_per_mm": "PX_PER_MM"}[unit]
    return click.option(flag, name, type=kind, metavar=metavar, help=help)


def quantity(flag: str, unit: str, help: str, metavar: str = "N") -> Callable[[F], F]:
    """Make an option that takes a number, and that the command gets as `..._unit`."""
    name = f"{flag.removeprefix('--').replace('-', '_')}_{unit}"
    return click.option(flag, name, type=NUMBER, metavar=metavar, help=help)


def work_form(flag: str) -> Callable[[F], F]:
    """Make the option that says the form of the work, which is convex unless it is given."""
    return click.option(
        flag, type=FORM, default="convex", show_default=True, help="Form of the work."
    )


def together(*options: Callable[[F], F]) -> Callable[[F], F]:
    """Make one decorator of several options, which the help lists in this order."""

    def decorate(function: F) -> F:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


picture_option = click.option("--picture", type=PICTURE, metavar="OUT.png", help="Draw it, too.")
json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON object instead of text."
)
light_options = together(
    click.option("--lamp", metavar="NAME", help="Lamp of the table, or led:PEAK_NM:FWHM_NM."),
    click.option(
        "--wavelength",
        "wavelength_nm",
        type=WAVELENGTH_NM,
        metavar="L",
        help="Wavelength in air, as 589.3nm.",
    ),
)
archive_option = click.option(
    "--archive", type=PATH, metavar="DIR", help="Archive with the records of lamps and cameras."
)
worker_options = together(
    click.option(
        "--workers",
        type=click.IntRange(1),
        metavar="N",
        help="Photographs read at once; without it one a core.",
    ),
    click.option(
        "--scheduler", metavar="ADDRESS", help="Dask scheduler that reads, as tcp://host:8786."
    ),
)
chamfer_option = length(
    "--chamfer", "Width of the bevel at the rim; the diameter is over all then.", signed=True
)
photo_options = together(
    click.option(
        "--edge",
        default="auto",
        show_default=True,
        metavar="EDGE",
        help="auto, none, CX,CY,R or CX,CY,A,B,ANGLE in pixels.",
    ),
    length("--camera-distance", "From the work to the camera."),
    click.option("--camera", metavar="NAME", help="Camera on record: its distance and scale."),
    length("--gap", "Between the two where they come nearest, if held apart."),
    chamfer_option,
    click.option(
        "--sense",
        type=SENSE,
        default="auto",
        show_default=True,
        help="Where the contact is, if you know.",
    ),
    click.option(
        "--scale",
        "scale_px_per_mm",
        type=PositiveNumber(),
        metavar="PX_PER_MM",
        help="Pixels a millimetre.",
    ),
)
plate_turned_option = click.option(
    "--plate-turned",
    metavar="DEG",
    help="Take its map out: turned so since, 0deg as marked.",
)
gauge_options = together(
    click.option(
        "--zero",
        type=SAGITTAS,
        multiple=True,
        metavar="L,...",
        help="Its readings on a flat; else it was set to zero there.",
    ),
    uncertainty("--reading-u", "mm", "Standard uncertainty of a reading."),
)
note_options = together(
    click.option("--remark", metavar="TEXT", help="Anything else."),
    click.option("--by", metavar="NAME", help="Who measured."),
    click.option(
        "--when", metavar="TIME", help="Time of the visit, as 2026-03-14T09:30 or with +01:00."
    ),
)
surface_reading_options = together(
    click.option("--lamp", metavar="NAME", help="Lamp; without it the surface's usual one."),
    photo_options,
)
match_options = together(
    click.option(
        "--system",
        type=PATH,
        metavar="FILE",
        help="System that the pair is for: its match tolerance.",
    ),
    quantity("--tolerance-power", "fringes", "Else: power allowed between."),
    length("--tolerance-radius", "Mismatch of radii allowed."),
    quantity("--tolerance-irregularity", "fringes", "The same, B."),
    click.option("--rule", type=RULE, help="Decision rule; else the tolerance's, or guard95."),
    quantity(
        "--contact-u",
        "fringes",
        "Of each contact besides its reading: temperature, plate's form; 3/4 of its variance is "
        "common to all contacts of the same two pieces.  [default: 0.05]",
    ),
    quantity(
        "--contact-common-u", "fringes", "The part of --contact-u that is common, if you know it."
    ),
    click.option("--lamp", metavar="NAME", help="To count fringes in; else the surfaces' own."),
)

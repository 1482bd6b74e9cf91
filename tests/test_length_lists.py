"""Lengths in a row: what a comma means."""

from __future__ import annotations

import pytest

from fringe.errors import BadInput
from fringe.length_lists import typed_lengths


@pytest.mark.parametrize(
    ("text", "um"),
    [
        ("376,377um", [376, 377]),
        ("376;377 um", [376, 377]),
        ("376, 377 um", [376, 377]),
        ("376,377,378um", [376, 377, 378]),
        ("376.5,377.0um", [376.5, 377]),
        ("-376,-377um", [-376, -377]),
        ("−376;−377um", [-376, -377]),
        ("1957,1958um", [1957, 1958]),
        ("808um,807.5um", [808, 807.5]),
        ("808,5um,807,5um", [808.5, 807.5]),
        ("808,5;807,5um", [808.5, 807.5]),
        ("376;377um;0.378mm", [376, 377, 378]),
        ("376;0.377mm;378um", [376e3, 377, 378]),  # the next unit, not the last of all
        # one decimal number, as it always was
        ("808,5um", [808.5]),
        ("0,376mm", [376]),
        ("12,13um", [12.13]),
        ("376um", [376]),
    ],
)
def test_readings(text: str, um: list[float]) -> None:
    """Each spelling is the readings that its writer meant, each with a text of its own unit."""
    read = typed_lengths(text, "--plate", "um", signed=True)
    assert [one.mm * 1e3 for one in read] == pytest.approx(um)
    for one in read:
        assert typed_lengths(one.text, signed=True) == (one,)


@pytest.mark.parametrize(
    "text", ["1,500mm", "376,977um", "1,376.5um", "808,5,807,5um", "12,345 mm", "1,376,377um"]
)
def test_what_may_be_two_things(text: str) -> None:
    """Where a comma may be a decimal, thousands or a separator, the line says how to tell."""
    with pytest.raises(
        BadInput, match=r"put a unit on each, as .*, or separate them by ;"
    ) as caught:
        typed_lengths(text, "--plate", "um")
    assert str(caught.value).startswith(f"--plate: {text!r}")


@pytest.mark.parametrize("text", ["376,377", "376;377", "376um;377"])
def test_a_unit_is_needed(text: str) -> None:
    """Numbers with no unit behind them are refused, as single ones are."""
    with pytest.raises(BadInput, match="has no unit; write for example 37"):
        typed_lengths(text, "--plate", "um")

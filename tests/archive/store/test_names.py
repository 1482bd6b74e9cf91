"""Folder names of surfaces: safe everywhere, and one name, one folder."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fringe.archive.store.names import MAX_NAME, clean_name, folder_names
from fringe.errors import BadInput

NAMES = st.text(st.characters(exclude_categories=("Cc", "Cs")), min_size=1, max_size=300).filter(
    lambda text: text.strip()
)


@given(NAMES)
def test_folder_names_are_safe(name):
    """Whatever the name, its folder is one plain step down: no separator, dot, or device."""
    for folder in folder_names(clean_name(name)):
        assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,56}", folder)
        assert not folder.endswith(".")
        assert not re.fullmatch(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?|instruments", folder)


@given(NAMES, NAMES)
def test_different_names_have_different_folders(one, other):
    """Two names share no folder, unless one spells out the other's folder."""
    one, other = clean_name(one), clean_name(other)
    first, second = folder_names(one)[0], folder_names(other)[0]
    assert (first == second) == (one == other) or first in (one, other)


@pytest.mark.parametrize("name", ["concave-1", "M2_b", "150.convex"])
def test_plain_names_stay(name):
    """A name that is safe already is the folder's name."""
    assert folder_names(name)[0] == name


@pytest.mark.parametrize(
    "name",
    [
        "con",
        "AUX.txt",
        "instruments",
        "..",
        ".",
        "a/b",
        "a\\b",
        "-rf",
        "Große Fläche",
        "鏡",
        "a" * 300,
        "x.",
    ],
)
def test_others_carry_a_digest(name):
    """A name that had to be altered carries eight digits of its SHA-256."""
    assert re.search(r"-[0-9a-f]{8}$", folder_names(name)[0])


def test_one_spelling_of_a_letter():
    """An accent composed and decomposed is the same name."""
    assert clean_name("e\u0301tage") == clean_name("\u00e9tage")


@pytest.mark.parametrize("name", ["", "  ", "two\nlines", "\udcff", "x" * (MAX_NAME + 1)])
def test_what_is_no_name(name):
    """Empty, unprintable, undecodable and endless names are refused."""
    with pytest.raises(BadInput, match="surface name"):
        clean_name(name)

"""Mutated files of every kind: a share of what tests/benchmarks/fuzz.py tries by the thousand."""

from __future__ import annotations

import os
import sys

import pytest

from fuzzing import KINDS, fuzz

COUNT = 200


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="limits are those of Linux")
def test_mutated_files_end_in_a_line_or_a_result():
    """Damaged files of every kind are read or refused in one line with their name, nothing else."""
    outcome = fuzz(COUNT, int(os.environ["FRINGE_TEST_SEED"]))
    assert outcome.findings == []
    assert sum(outcome.ends.values()) == COUNT
    assert {end.split()[0] for end in outcome.ends} == set(KINDS)

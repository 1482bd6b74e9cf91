"""How often the form is named rightly, and how often where there is none.

    python tests/benchmarks/formnames.py [--count 20] [--seed N] [--workers N]

`--count` perfect spheres of each family of rendered works (dirty, clean, LED, low power, oval),
edge given or found, camera far, told or untold: each name is a false one. Then as many fitted
forms, drawn by formulas that are no Zernike terms and fitted with noise, of each kind: the share
that has just its own name, its place's error (share of the radius), and how often the intervals
of height and place hold.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from form_coverage import CAMERAS, EDGES, FAMILIES, Case, outcome
from formed import TERMS, centre, fitted, places, saddle, turned, zone

from fringe.optics.feature import FormFeature
from fringe.optics.form_features import form_features
from fringe.parallel import in_order

RHO, THETA = places()


def spheres(count: int, seed: int, workers: int | None) -> None:
    """Count names of perfect spheres."""
    cases = [
        Case(family, True, EDGES[k % 2], CAMERAS[k % 3], seed + k)
        for family in FAMILIES
        for k in range(count)
    ]
    found = [one for one in in_order(outcome, cases, workers=workers) if one.refused is None]
    for family in FAMILIES:
        own = [one for one in found if one.case.family == family]
        print(f"{family:10} read {len(own):4}  named {sum(bool(one.named) for one in own):3}")
    for one in found:
        if one.named:
            case = one.case
            print(f"  {case.family} {case.seed} {case.edge} {case.camera}: {'; '.join(one.named)}")


def drawn(kind: str, rng: np.random.Generator) -> tuple[np.ndarray, float, float]:
    """A form of one kind, its height and its place or axis."""
    height = float(rng.choice([-1, 1]) * rng.uniform(0.1, 0.8))
    if kind == "zone":
        crest = float(rng.uniform(0.25, 0.82))
        return zone(RHO, height, crest, rng.uniform(0.05, 0.17)), height, crest
    if kind == "edge":
        start = float(rng.uniform(0.7, 0.95))
        return turned(RHO, height, start, rng.uniform(1.5, 3)), height, start
    if kind == "centre":
        reach = float(rng.uniform(0.1, 0.3))
        return centre(RHO, height, reach), height, reach
    axis = float(rng.uniform(0, 180))
    return saddle(RHO, THETA, abs(height), axis), abs(height), axis


def forms(kind: str, count: int, seed: int) -> None:
    """Count right names, and intervals that hold."""
    rng = np.random.default_rng(seed)
    right, high, placed, errors = 0, 0, 0, []
    for _ in range(count):
        work, height, place = drawn(kind, rng)
        gap = rng.uniform(-12, 12) * RHO**2 - work
        values, covariance = fitted(gap, 10 ** rng.uniform(-2.3, -0.8), rng)
        found = form_features(TERMS, values, covariance, wavelength_nm=546.1, signed=True)
        if [one.kind for one in found] != [kind]:
            continue
        right += 1
        error, u95 = _off(found[0], place)
        errors.append(error)
        placed += error <= u95
        high += abs(found[0].height_fringes - height) <= found[0].height_u95_fringes
    print(
        f"{kind:12} named {right:4} of {count}; height held {100 * high / max(right, 1):3.0f} %, "
        f"place {100 * placed / max(right, 1):3.0f} %; off by {np.median(errors):.3f} (median)"
    )


def _off(one: FormFeature, place: float) -> tuple[float, float]:
    if one.axis_deg is not None:
        return abs((one.axis_deg - place + 90) % 180 - 90), one.axis_u95_deg or 0.0
    return abs((one.place or 0.0) - place), one.place_u95 or 0.0


def main(argv: Sequence[str] | None = None) -> None:
    """Run the study."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int)
    asked = parser.parse_args(argv)
    run = partial(forms, count=5 * asked.count, seed=asked.seed)
    for kind in ("zone", "edge", "centre", "astigmatism"):
        run(kind)
    spheres(asked.count, asked.seed, asked.workers)


if __name__ == "__main__":
    main()

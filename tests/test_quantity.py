"""One value with its uncertainty: sources that two share, degrees of freedom, and the bridge."""

from __future__ import annotations

import math

import numpy as np
import pytest
from uncertainties import correlation_matrix, nominal_value, std_dev

from fringe.quantity import (
    Quantity,
    Source,
    correlation,
    evaluate,
    from_ufloat,
    half_width,
    half_width_if_any,
    standard,
    standard_if_any,
    to_ufloats,
    weighted_mean,
)
from fringe.student_t import coverage_factor

LAMP, FIT_1, FIT_2 = Source("wavelength", "sodium"), Source("fit", "a"), Source("fit", "b")


def two() -> tuple[Quantity, Quantity]:
    """Two readings in one lamp."""
    one = Quantity.of(10.0, "fringes", {FIT_1: 0.3, LAMP: 0.4})
    other = Quantity.of(12.0, "fringes", {FIT_2: 0.3, LAMP: 0.4})
    return one, other


def random_quantities(rng: np.random.Generator, count: int = 4, sources: int = 6) -> list[Quantity]:
    """Quantities of which each pair may share any source, with either sign."""
    names = [Source("fit", str(i)) for i in range(sources)]
    chosen = rng.normal(size=(count, sources)) * (rng.random((count, sources)) < 0.6)
    values = rng.uniform(5, 9, count)
    return [
        Quantity.of(v, "mm", dict(zip(names, 0.01 * row, strict=True)))
        for v, row in zip(values, chosen, strict=True)
    ]


def test_contributions_add_in_quadrature_and_shares_add_to_one() -> None:
    """u of 0.3 and 0.4 is 0.5, its shares are 36 and 64 %, U95 is 1.959964 u (analytic)."""
    one, _ = two()
    assert one.u == pytest.approx(0.5)
    assert one.shares == pytest.approx({LAMP: 0.64, FIT_1: 0.36})
    assert one.u95 == pytest.approx(1.959964 * 0.5, rel=1e-6)
    assert one.interval == pytest.approx((10 - 0.979982, 10 + 0.979982))


def test_what_two_share_correlates_them_and_cancels_in_their_difference() -> None:
    """r = 0.16 / 0.25; the difference keeps the two fits alone, the sum has the lamp twice."""
    one, other = two()
    assert correlation(one, other) == pytest.approx(0.64)
    assert (other - one).u == pytest.approx(0.3 * math.sqrt(2))
    assert (other - one).value == pytest.approx(2.0)
    assert (one + other).u == pytest.approx(math.hypot(0.3, 0.3, 0.8))


def test_two_independent_fits_do_not_correlate() -> None:
    """Sources of one kind and two owners are two errors; a sign turns a shared one (analytic)."""
    one = Quantity.of(1.0, "mm", {FIT_1: 0.1})
    assert correlation(one, Quantity.of(2.0, "mm", {FIT_2: 0.1})) == 0.0
    assert correlation(one, Quantity.of(2.0, "mm", {FIT_1: -0.3})) == pytest.approx(-1.0)
    assert correlation(one, Quantity.of(2.0, "mm")) == 0.0


def test_scaling_keeps_sources_and_degrees_of_freedom() -> None:
    """k times a value errs by k times as much, on the same degrees of freedom (analytic)."""
    one = Quantity.of(2.0, "mm", {Source("repeatability", "a", 3.0): 0.1})
    assert one.dof == pytest.approx(3.0)
    assert (-2 * one).dof == pytest.approx(3.0)
    assert (-2 * one).contributions == {Source("repeatability", "a", 3.0): -0.2}
    assert (one / 4).u95 == pytest.approx(3.182446 * 0.025, rel=1e-6)  # t of 3, 97.5 % (published)
    assert abs(-one) == one
    assert (one + 5.0 - 1.0).value == pytest.approx(6.0)


def test_degrees_of_freedom_after_welch_and_satterthwaite() -> None:
    """0.3 on 4 degrees beside a known 0.4: 0.5^4 / (0.3^4 / 4) = 30.86 (analytic, G.2b)."""
    one = Quantity.of(0.0, "mm", {Source("repeatability", "a", 4.0): 0.3, LAMP: 0.4})
    assert one.dof == pytest.approx(0.5**4 * 4 / 0.3**4)
    assert one.without("repeatability").dof is None
    again = Quantity.of(0.0, "mm", {Source("repeatability", "b", 4.0): 0.3})
    assert (one.without("wavelength") + again).dof == pytest.approx(8.0)
    # the same estimate twice is not known any better
    assert (one.without("wavelength") + one.without("wavelength")).dof == pytest.approx(4.0)


def test_a_term_on_few_degrees_keeps_its_sum_on_few() -> None:
    """Degrees that a mean was given beyond its sources' own are not forgotten in a sum."""
    few = Quantity(1.0, "mm", ((FIT_1, 0.2),), 1.5)
    assert (few + Quantity.of(1.0, "mm", {FIT_2: 1e-6})).dof == pytest.approx(1.5, rel=1e-6)


def test_the_weighted_mean_does_not_average_a_shared_error_away() -> None:
    """Of n readings in one lamp u tends to the lamp's 0.4, not to zero (analytic)."""
    many = [Quantity.of(10.0, "fringes", {Source("fit", str(i)): 0.3, LAMP: 0.4}) for i in range(9)]
    assert weighted_mean(many).u == pytest.approx(math.hypot(0.1, 0.4))
    near = Quantity.of(1.0, "mm", {FIT_1: 0.1})
    far = Quantity.of(2.0, "mm", {FIT_2: 0.3})
    assert weighted_mean([near, far]).value == pytest.approx(1.1)
    assert weighted_mean([near, far]).u == pytest.approx(1 / math.sqrt(1 / 0.01 + 1 / 0.09))
    assert weighted_mean([near, Quantity(3.0, "mm")]) == Quantity(3.0, "mm")


def test_covariances_are_those_of_draws(rng: np.random.Generator) -> None:
    """u and correlation of random quantities are those of 400,000 draws of the sources."""
    one, other, *_ = random_quantities(rng)
    draws = {s: rng.normal(size=400_000) for s, _ in (*one.parts, *other.parts)}
    drawn = [sum(c * draws[s] for s, c in q.parts) + np.zeros(400_000) for q in (one, other)]
    assert np.std(drawn[0]) == pytest.approx(one.u, rel=0.01, abs=1e-9)
    if one.u and other.u:
        assert np.corrcoef(drawn)[0, 1] == pytest.approx(correlation(one, other), abs=0.01)


def test_formulas_agree_with_the_package_uncertainties(rng: np.random.Generator) -> None:
    """Value, u and all correlations of sums, products and roots are those of uncertainties."""
    a, b, c, d = random_quantities(rng)
    (ua, ub, uc, ud), _ = to_ufloats([a, b, c, d])
    theirs = [ua * ub / uc, (ua**2 + ub**2) ** 0.5, 2 * uc - 3 * ud, ua]
    ours = [
        evaluate(lambda x, y, z: x * y / z, [a, b, c], "mm"),
        evaluate(lambda x, y: math.hypot(x, y), [a, b], "mm"),
        2 * c - 3 * d,
        a,
    ]
    for mine, their in zip(ours, theirs, strict=True):
        assert mine.value == pytest.approx(nominal_value(their), rel=1e-12)
        assert mine.u == pytest.approx(std_dev(their), rel=1e-6)
    if all(one.u for one in ours):
        matrix = correlation_matrix(theirs)
        mine_r = [[correlation(x, y) for y in ours] for x in ours]
        assert np.array(mine_r) == pytest.approx(np.asarray(matrix), abs=1e-6)


def test_the_bridge_leads_back(rng: np.random.Generator) -> None:
    """To uncertainties and back, by a formula, every contribution keeps its size and sign."""
    a, b, *_ = random_quantities(rng)
    (ua, ub), variables = to_ufloats([a, b])
    back = from_ufloat(ua, variables, "mm")
    assert back.value == a.value
    assert from_ufloat(2.5, variables, "mm") == Quantity(2.5, "mm")
    assert back.contributions == pytest.approx(a.contributions)
    made = from_ufloat(ua * ub, variables, "mm")
    expected = evaluate(lambda x, y: x * y, [a, b], "mm")
    assert set(made.contributions) == set(expected.contributions)
    for source, c in expected.parts:
        assert made.contributions[source] == pytest.approx(c, rel=1e-6, abs=1e-12)


def test_an_added_error_is_one_with_what_the_source_does_already() -> None:
    """An error of the same source adds to it with its sign; of another, in quadrature."""
    one = Quantity.of(1.0, "mm", {FIT_1: 0.3})
    assert one.added(FIT_1, -0.3).u == 0.0
    assert one.added(LAMP, 0.4).u == pytest.approx(0.5)
    assert one.added(LAMP, 0.4).u_of("wavelength") == pytest.approx(0.4)
    assert one.added(LAMP, 0.4).without("wavelength") == one


@pytest.mark.parametrize("dof", [None, 1.0, 4.0])
def test_half_widths_and_standard_uncertainties_go_both_ways(dof: float | None) -> None:
    """U = k u with k of Student's t, and back; None stays None."""
    assert half_width(0.2, dof) == pytest.approx(0.2 * coverage_factor(dof))
    assert standard(half_width(0.2, dof), dof) == pytest.approx(0.2)
    assert half_width_if_any(None, dof) is None
    assert standard_if_any(None, dof) is None
    assert standard_if_any(half_width_if_any(0.2, dof), dof) == pytest.approx(0.2)

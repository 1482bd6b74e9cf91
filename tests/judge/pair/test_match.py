"""A pair's radii and mismatch: correlations, contradictions, verdict and what to do."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.judge.pair.contacts import Contact, Piece, Sagittas
from fringe.judge.pair.match import match
from fringe.judge.pair.next_step import next_step, together_text
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.spheres import power_fringes, radius_difference_mm
from fringe.optics.spherometer import circle_of_feet, reading_from_radius_mm, with_uncertainty
from fringe.quantity import Source
from fringe.student_t import coverage_factor

WAVE, D, R = 589.3, 150.0, 3048.0
CONVEX, CONCAVE = Piece("cx", "convex", R, D), Piece("cc", "concave", R, D)
TOLERANCE = Tolerance(2.0, wavelength_nm=WAVE)


def plate(name="P", form="concave", radius=R, u=0.3):
    """A plate with its certificate."""
    return Piece(name, form, radius, None, radius, u)


def contact(work, other, power, u=0.05, **fields):
    """A contact of two pieces."""
    return Contact(f"{work} on {other}", work, other, power, u, D, WAVE, **fields)


def of_radii(work, r_work, r_other):
    """Power that two radii show, by the exact spheres."""
    form = "convex" if work == "cx" else "concave"
    return power_fringes(r_work - r_other, r_other, D, WAVE, form)


def made(*contacts, plates=(), sagittas=(), tolerance=TOLERANCE, **fields):
    """The pair that evidence makes."""
    return match(
        fields.pop("convex", CONVEX),
        fields.pop("concave", CONCAVE),
        plates,
        contacts,
        sagittas,
        wavelength_nm=WAVE,
        tolerance=tolerance,
        **fields,
    )


def test_a_chain_of_contacts():
    """Plate, convex, concave: each radius is the one before and what was read on it (analytic)."""
    found = made(
        contact("cx", "P", 1.5),
        contact("cc", "cx", -0.8),
        plates=[plate()],
    )
    convex = R + radius_difference_mm(1.5, R, D, WAVE, "convex")
    step = radius_difference_mm(-0.8, convex, D, WAVE, "concave")
    # to first order in the differences a fringe is as many millimetres on every piece
    per_fringe = abs(radius_difference_mm(1e-3, R, D, WAVE, "concave")) / 1e-3
    reading = 0.05 * per_fringe
    # the plate's certificate pulls by its nominal radius, assumed to 5 %
    assert found.radius(CONVEX) == pytest.approx((convex, math.hypot(0.3, reading)), rel=2e-3)
    u_concave = math.hypot(0.3, reading, reading)
    assert found.radius(CONCAVE) == pytest.approx((convex + step, u_concave), rel=2e-3)
    assert found.radius(CONVEX)[0] == pytest.approx(convex, rel=1e-5)
    assert found.mismatch_mm == pytest.approx(step, rel=1e-6)
    assert found.u_mismatch_mm == pytest.approx(reading, rel=5e-3)
    assert found.power_fringes == pytest.approx(-0.8, rel=1e-6)
    assert found.u_power_fringes == pytest.approx(0.05, rel=1e-4)


def test_the_mismatch_does_not_inherit_the_plate():
    """With a plate ten times worse, the radii are ten times worse and the mismatch is as it was."""
    pairs = [
        made(contact("cx", "P", 1.5), contact("cc", "cx", -0.8), plates=[plate(u=u)])
        for u in (0.3, 3.0)
    ]
    assert pairs[1].u_mismatch_mm == pytest.approx(pairs[0].u_mismatch_mm, rel=1e-3)
    assert pairs[1].radius(CONCAVE)[1] == pytest.approx(10 * pairs[0].radius(CONCAVE)[1], rel=0.05)
    assert pairs[1].correlation > 0.999


def test_two_plates_do_not_cancel():
    """Analytic: over two plates, the mismatch has both certificates and both readings."""
    found = made(
        contact("cx", "P8", 1.5),
        contact("cc", "P7", -0.8),
        plates=[plate("P8", "concave"), plate("P7", "convex", u=0.4)],
    )
    step = radius_difference_mm(0.05, R, D, WAVE, "concave")
    assert found.u_mismatch_mm == pytest.approx(math.hypot(0.3, 0.4, step, step), rel=1e-3)
    assert found.correlation == pytest.approx(0.0, abs=1e-3)


def test_one_lamps_error_is_shared():
    """Analytic: 1 % of a lamp that both contacts share errs by 1 % of both, and cancels where
    the one piece is as much short of the plate as the other is long."""
    lamp = {"u_wavelength_nm": WAVE / 100, "lamp": "doubtful"}
    found = made(
        contact("cx", "P", 40.0, 1e-3, **lamp),
        contact("cc", "cx", 40.0, 1e-3, **lamp),
        plates=[plate(u=1e-6)],
    )
    ends = [radius_difference_mm(n, R, D, WAVE, "convex") for n in (39.6, 40.4)]
    one_percent = abs(ends[1] - ends[0]) / 2
    assert found.radius(CONVEX)[1] == pytest.approx(one_percent, rel=1e-3)
    assert found.u_mismatch_mm == pytest.approx(one_percent, rel=0.03)
    assert found.radius(CONCAVE)[1] < 0.1 * one_percent


GAUGE = with_uncertainty(circle_of_feet(100.0, 6.35), 0.01, None)


def sagittas(r_work, r_plate, work="cc", on="P", ring=50.0, noise=(0.0, 0.0), u=0.2):
    """Readings of the spherometer on a work and its plate."""
    form = "convex" if work == "cx" else "concave"
    other = "concave" if form == "convex" else "convex"
    read = [
        1e3 * reading_from_radius_mm(r, ring, f, 3.175)
        for r, f in ((r_work, form), (r_plate, other))
    ]
    return Sagittas(
        f"balls, {work}",
        work,
        on,
        read[0] + noise[0],
        read[1] + noise[1],
        u,
        u,
        0.0,
        (1.0, 1.0),
        GAUGE,
        "balls",
    )


def test_the_spherometer_alone():
    """A spherometer on both pieces tells both radii; its ring's error makes them err together."""
    found = made(
        sagittas=[
            sagittas(3045.0, R, "cc", "P7"),
            sagittas(3050.0, R, "cx", "P8"),
        ],
        plates=[plate("P7", "convex", u=0.2), plate("P8", u=0.2)],
    )
    assert found.radius(CONCAVE)[0] == pytest.approx(3045.0, abs=0.5)
    assert found.mismatch_mm == pytest.approx(-5.0, abs=0.5)
    assert found.correlation > 0
    assert found.estimate.u("ring of balls") < 0.0098


def held(rng):
    """Whether the intervals of a pair with evidence of every kind hold the truth.

    Of mismatch, both radii and power; two plates, contacts on them and on each other,
    spherometer on both, all with errors of their stated size.
    """
    plates = [
        plate("P8", "concave", R + rng.normal(0, 0.3)),
        plate("P7", "convex", R + rng.normal(0, 0.3)),
    ]
    cx, cc = R + rng.normal(0, 2), R + rng.normal(0, 2)
    ring = 50 + rng.normal(0, 0.01)
    contacts = [
        contact(work, on, of_radii(work, r, r_on) + rng.normal(0, 0.05))
        for work, r, on, r_on in (
            ("cx", cx, "P8", R),
            ("cc", cc, "P7", R),
            ("cc", cc, "cx", cx),
        )
    ]
    gauges = [
        sagittas(cx, R, "cx", "P8", ring, rng.normal(0, 0.2, 2)),
        sagittas(cc, R, "cc", "P7", ring, rng.normal(0, 0.2, 2)),
    ]
    found = made(*contacts, plates=plates, sagittas=gauges)
    k = coverage_factor()
    checks = [
        (found.mismatch_mm, found.u_mismatch_mm, cc - cx),
        (*found.radius(CONVEX), cx),
        (*found.radius(CONCAVE), cc),
        (found.power_fringes, found.u_power_fringes, of_radii("cc", cc, cx)),
    ]
    return [abs(value - truth) <= k * u for value, u, truth in checks]


def test_intervals_cover_the_truth(rng):
    """Of 400 pairs with evidence of every kind, 95 % of intervals hold mismatch, radii and power.

    Bounds are five standard deviations.
    """
    hits = np.sum([held(rng) for _ in range(400)], axis=0)
    slack = 5 * math.sqrt(0.95 * 0.05 / 400)
    assert np.all(np.abs(hits / 400 - 0.95) < slack)


def test_a_wrong_contact_is_named():
    """A contact that all else contradicts is named, and no verdict is proven on it."""
    radii = {"cx": 3046.0, "cc": 3047.5}
    contacts = [
        contact("cx", "P8", of_radii("cx", radii["cx"], R)),
        contact("cc", "P7", of_radii("cc", radii["cc"], R)),
        contact("cc", "cx", of_radii("cc", radii["cc"], radii["cx"]) + 6.0),
    ]
    plates = [plate("P8", u=0.05), plate("P7", "convex", u=0.05)]
    gauges = [
        sagittas(radii["cx"], R, "cx", "P8", u=0.05),
        sagittas(radii["cc"], R, "cc", "P7", u=0.05),
    ]
    found = made(*contacts, plates=plates, sagittas=gauges)
    assert "cc on cx" in found.estimate.contradictions[0]
    step = next_step(found)
    assert found.verdict.state == "unproven"
    assert (step.action, step.piece) == ("remeasure", None)


def test_a_contradiction_that_does_not_matter():
    """Where the verdict is the same whichever piece is wrong, it stands, and the note stays."""
    contacts = [contact("cx", "P8", 0.1), contact("cc", "P7", 0.1), contact("cc", "cx", 0.1)]
    plates = [plate("P8", u=0.2), plate("P7", "convex", u=0.2)]
    wrong_ring = [sagittas(R - 0.1, R, "cc", "P7", ring=50.4)]
    found = made(*contacts, plates=plates, sagittas=wrong_ring)
    assert "ring of balls contradicts all the rest" in found.notes[0]
    assert found.notes[0].endswith("the verdict does not hang on that")
    assert found.verdict.state == "inside"
    assert next_step(found).action == "stop"


def test_no_work_on_what_contradicts_itself():
    """A mismatch proven whichever piece is wrong, but not its sign: all are named, none is worked.

    Plates say +5 fringes, the contact of the two -6.
    """
    contacts = [contact("cx", "P8", 2.5), contact("cc", "P7", 2.5), contact("cc", "cx", -6.0)]
    plates = [plate("P8", u=0.2), plate("P7", "convex", u=0.2)]
    found = made(*contacts, plates=plates)
    step = next_step(found)
    assert found.verdict.state == "outside"
    assert (step.action, step.piece) == ("remeasure", None)
    for name in ("cx on P8", "cc on P7", "cc on cx", "certificate of P8"):
        assert name in step.text


@pytest.mark.parametrize(
    ("power", "u", "action"),
    [(0.5, 0.05, "stop"), (1.95, 0.2, "remeasure"), (5.0, 0.05, "work")],
)
def test_what_to_do(power, u, action):
    """Stop on a proven match alone, work on a proven mismatch, else measure again."""
    found = made(contact("cc", "cx", power, u))
    step = next_step(found)
    assert step.action == action
    if action == "stop":
        assert found.verdict.state == "inside"


@pytest.mark.parametrize("power", [6.0, -6.0])
@pytest.mark.parametrize(("off", "piece"), [("cx", "cx"), ("cc", "cc"), (None, "cc")])
def test_which_to_work_on(power, off, piece):
    """The piece that is off its nominal radius is worked; where neither is, the concave.

    Analytic: changed by what is told, the two have no power left; the upper piece goes concave,
    so the piece itself goes on top where the contact is at the centre (common practice).
    """
    step = radius_difference_mm(power, R, D, WAVE, "concave")
    plates, contacts = [plate("P8", u=0.1), plate("P7", "convex", u=0.1)], []
    radii = {"cx": R, "cc": R}
    if off == "cx":
        radii["cx"] -= step
    elif off == "cc":
        radii["cc"] += step
    else:
        radii = {"cx": R - step / 2, "cc": R + step / 2}
    contacts = [
        contact("cx", "P8", of_radii("cx", radii["cx"], R)),
        contact("cc", "P7", of_radii("cc", radii["cc"], R)),
        contact("cc", "cx", of_radii("cc", radii["cc"], radii["cx"])),
    ]
    found = made(*contacts, plates=plates)
    told = next_step(found)
    assert (told.action, told.piece) == ("work", piece)
    radii[piece] += told.radius_mm
    assert of_radii("cc", radii["cc"], radii["cx"]) == pytest.approx(0.0, abs=0.05)
    assert told.on_top == ("work" if power > 0 else "tool")
    # more concave: a convex gets shallower, a concave deeper
    more_concave = told.on_top == "work"
    assert (told.sagitta_um > 0) is (more_concave == (piece == "cc"))


def test_laid_together():
    """What the two would show is said as rings and where they touch, or that they are alike."""
    assert together_text(made(contact("cc", "cx", 5.0))) == (
        "+5.00 ± 0.10 fringes: 5 rings, contact at the centre"
    )
    assert "contact at the edge" in together_text(made(contact("cc", "cx", -5.0)))
    assert "alike as far as the evidence goes" in together_text(made(contact("cc", "cx", 0.04)))


def test_irregularity_of_the_pair():
    """A tolerance on irregularity needs their contact with each other, and judges it."""
    both = Tolerance(2.0, 0.3, wavelength_nm=WAVE)
    missing = made(contact("cc", "cx", 0.1), tolerance=both)
    assert missing.verdict.state == "unproven"
    assert "irregularity not measured" in next_step(missing).text
    good = made(contact("cc", "cx", 0.1), tolerance=both, irregularity=(0.1, 0.02))
    assert good.verdict.state == "inside"
    bad = made(contact("cc", "cx", 0.1), tolerance=both, irregularity=(0.6, 0.02))
    assert next_step(bad).text.startswith("the radii match, the irregularity is too large")


def test_nothing_ties_them():
    """Two pieces that nothing ties together: no number is pretended."""
    found = made(contact("cx", "P", 1.0), plates=[plate()])
    assert found.u_mismatch_mm > 0.04 * R
    assert "nothing ties these two together" in found.notes[0]
    assert found.verdict.state == "unproven"
    with pytest.raises(BadInput, match="neither contact nor spherometer"):
        made()
    with pytest.raises(BadInput, match="not one of its pieces"):
        made(contact("cx", "Q", 1.0))
    with pytest.raises(BadInput, match="both concave"):
        made(contact("cc", "Q", 1.0), plates=[plate("Q", "concave")])


def test_a_plain_certificate():
    """A certificate without an uncertainty is taken to a tenth of a per cent, and that is said."""
    found = made(contact("cx", "P", 1.0), contact("cc", "cx", 0.0), plates=[plate(u=None)])
    assert found.radius(CONVEX)[1] == pytest.approx(1e-3 * R, rel=0.01)
    assert "radius without uncertainty; 0.1 % is taken" in found.notes[0]


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_zero_error_moves_work_and_plate_by_their_own_ways(way):
    """The plate is known, so its reading tells the zero's error, and the work's is rid of it.

    Both were read 3 um off, the work's by its own way, the plate's by its own: taken off by
    the same way for both, the work's radius would be 6 um of sagitta off (analytic).
    """
    error = 3.0
    read = sagittas(3050.0, R, "cc", "P7", noise=(way * error, -error), u=0.01)
    ring = with_uncertainty(circle_of_feet(100.0, 6.35), 1e-4, None)
    gauged = dataclasses.replace(read, u_zero_um=5.0, ways=(way, -1.0), spherometer=ring)
    certain = plate("P7", "convex", u=1e-4)
    contacts = [contact("cx", "cc", of_radii("cx", 3049.0, 3050.0))]
    found = made(*contacts, plates=[certain], sagittas=[gauged])
    radius, u = found.radius(CONCAVE)
    a_um_mm = 1e-3 * 2 * R**2 / 50.0**2  # dR = 2 R^2 / r^2 ds
    assert radius == pytest.approx(3050.0, abs=0.1)
    assert u < 0.05 * a_um_mm * error


def test_the_form_of_one_plate_does_not_average_away():
    """Of n layings on one plate the mismatch errs by all of its form, not by 1/sqrt(n) (analytic).

    The concave lies on a plate that nobody doubts, the convex n times on one whose form is
    known to 0.1 fringe; each laying repeats to 0.01.
    """
    form = ((Source("plate_form", "P8"), 0.1),)
    plates = [plate("P8", "concave", u=1e-4), plate("P7", "convex", u=1e-4)]
    a_fringe = abs(radius_difference_mm(1.0, R, D, WAVE, "convex"))
    for count in (1, 3, 6):
        layings = [contact("cx", "P8", 1.5, 0.01, shared=form) for _ in range(count)]
        found = made(*layings, contact("cc", "P7", -0.8, 0.01), plates=plates)
        expected = a_fringe * math.hypot(0.1, 0.01 / math.sqrt(count), 0.01)
        assert found.u_mismatch_mm == pytest.approx(expected, rel=0.01)

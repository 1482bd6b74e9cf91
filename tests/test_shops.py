"""The simulated shops obey the physics that they are made of, or their lives would tell nothing."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fringe.judge.state.abrasives import stage
from shops.baselines import oracle
from shops.glass import Glass
from shops.judged import Advice, stage_to_do
from shops.laws import LAWS, PLAIN
from shops.life import live
from shops.readings import generator, read
from shops.shop import draw_job, draw_shop

CALM = replace(PLAIN, reversed_share=0.0, blunders=0.0, warm_below=0.0)


def shop_with_all(seed, law=CALM):
    """A shop that has every grit."""
    return next(
        shop
        for shop in (draw_shop(generator(seed, i), law) for i in range(50))
        if len(shop.stages) == 5
    )


@pytest.mark.parametrize("form", ["#120", "polish"])
def test_the_upper_piece_turns_concave(form):
    """Common practice: with the work on top the height of power falls, with the tool it grows."""
    shop = replace(shop_with_all(3), scatter=0.0)
    job = replace(draw_job(generator(3, 1), shop), tendency=0.0)
    for top, sign in (("work", -1), ("tool", 1)):
        one = Glass.begin(shop, job, generator(3, 2))
        one.work(form, ((top, 20.0),))
        assert math.copysign(1, one.height_um - job.height_um) == sign


def test_the_lower_piece_is_slower_by_its_ratio():
    """Analytic: without scatter, both ways differ by the ratio alone."""
    shop = replace(shop_with_all(4), scatter=0.0)
    job = replace(draw_job(generator(4, 1), shop), tendency=0.0)
    moved = {}
    for top in ("work", "tool"):
        one = Glass.begin(shop, job, generator(4, 2))
        one.work("#120", ((top, 20.0),))
        moved[top] = abs(one.height_um - job.height_um)
    assert moved["tool"] / moved["work"] == pytest.approx(math.exp(shop.log_ratio))


def test_minutes_power():
    """Analytic: twice the minutes move 2^0.85 as far under the law of that power."""
    law = replace(LAWS["power"], reversed_share=0.0)
    shop = replace(shop_with_all(5, law), scatter=0.0)
    job = replace(draw_job(generator(5, 1), shop), tendency=0.0)
    moved = []
    for minutes in (20.0, 40.0):
        one = Glass.begin(shop, job, generator(5, 2))
        one.work("#240", (("tool", minutes),))
        moved.append(one.height_um - job.height_um)
    assert moved[1] / moved[0] == pytest.approx(2**0.85)


def test_warmth_decays():
    """Analytic: after one time constant 1/e of the warmth is left, and the height stays."""
    shop = shop_with_all(6)
    one = Glass.begin(shop, draw_job(generator(6, 1), shop), generator(6, 2))
    one.work("polish", (("work", 60.0),))
    warm, height = one.warmth_um, one.height_um
    one.rest(shop.warmth_minutes)
    assert one.warmth_um == pytest.approx(warm / math.e)
    assert one.height_um == height
    assert warm > 0


def test_pits_go_no_lower_than_the_stage_makes_them():
    """However long a grit works, its own pits stay; polishing takes off all."""
    shop = shop_with_all(7)
    one = Glass.begin(shop, draw_job(generator(7, 1), shop), generator(7, 2))
    one.work("#240", (("work", 600.0),))
    assert one.damage_um == one.job.pit_depths_um["#240"]
    one.work("polish", (("work", 6000.0),))
    assert one.damage_um == 0


@pytest.mark.parametrize("photographs", [0, 1])
def test_readings_scatter_as_they_say(photographs, rng):
    """Pulls of readings of a polished surface have unit variance: 400 of them, within 4 sigma."""
    shop = replace(shop_with_all(8), photographs=photographs)
    job = replace(draw_job(generator(8, 1), shop), start="polish", height_um=1.0)
    one = Glass.begin(shop, job, rng)
    pulls = []
    for i in range(400):
        ((found,), _) = read(one, i, {})
        pulls.append((found.power_fringes - one.power) / found.power_u_fringes)
    mean = sum(pulls) / 400
    variance = sum((p - mean) ** 2 for p in pulls) / 399
    assert abs(mean) < 4 / 20
    assert abs(variance - 1) < 4 * math.sqrt(2 / 399)


def test_the_spherometer_keeps_its_offset():
    """Analytic: the mean of many readings is off by the offset, scaled from ring to aperture."""
    shop = shop_with_all(9)
    job = draw_job(generator(9, 1), shop)
    one = Glass.begin(shop, replace(job, start="#120"), generator(9, 2))
    found = [read(one, i, {})[0][0].power_fringes - one.power for i in range(400)]
    scale = (job.aperture.diameter_mm / shop.ring_mm) ** 2 / job.fringe_um
    sign = 1 if job.aperture.work == "convex" else -1
    error = 4 * shop.repeatability_um * scale / 20
    assert sum(found) / 400 == pytest.approx(sign * shop.offset_um * scale, abs=error)


@pytest.mark.parametrize(
    ("told", "last", "taken"),
    [
        ("#240", "#120", "#240"),
        ("#220", "#120", "#240"),
        ("#500", "#400", "#800"),
        ("#1200", "#800", "polish"),
        ("#80", "#240", "#120"),
        ("polish", "#800", "polish"),
    ],
)
def test_the_nearest_stage_is_taken(told, last, taken):
    """What the shop has not got is replaced by what is nearest in the same direction."""
    shop = shop_with_all(10)
    step = Advice("grind", told, (("work", 20.0),), None, None, (), "")
    assert stage(told).name == told
    assert stage_to_do(step, draw_job(generator(10, 1), shop), last) == (taken, True)


def test_a_life_repeats_itself():
    """The same seeds give the same life: a failing one can be looked at again."""
    found = []
    for _ in range(2):
        shop = draw_shop(generator(11), PLAIN)
        life = live(shop, draw_job(generator(11, 1), shop), (), (11, 1), most_visits=4)
        found.append([(one.power, one.sentence) for one in life.seen])
    assert found[0] == found[1]


def test_the_oracle_finishes():
    """Knowing all rates it is inside without pits, in about one visit a stage and two more."""
    reached = []
    for i in range(20):
        shop = draw_shop(generator(12, i), PLAIN)
        reached.append(oracle(shop, draw_job(generator(12, i, 1), shop), generator(12, i, 2)))
    assert all(one.stopped and not one.pits_left for one in reached)
    assert sum(one.inside for one in reached) >= 19
    assert sum(one.visits for one in reached) / 20 < 9

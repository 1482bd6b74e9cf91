"""The sense, by contrast and by pairs: made-up orders, and a small share of the rendered study."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from made_orders import RADIUS_PX, TERMS, as_fitted, orders, reading
from sense_cases import KINDS, ONCE_WRONG, run_case

from fringe.errors import BadInput
from fringe.optics.lamps import lamp
from fringe.orders.fit.model import OrderModel
from fringe.orders.sense.contrast import DECISIVE, Cells, log_ratio
from fringe.orders.sense.two_photographs import Intervention, sense_of_pair

SODIUM, GREEN = lamp("sodium"), lamp("mercury-green")
LED = lamp("led:550:30")
powers = st.floats(1.0, 14.0)
seeds = st.integers(0, 2**32 - 1)
signs = st.sampled_from([1, -1])
films = st.floats(0.0, 1.6)


@settings(max_examples=60)
@given(
    power=powers,
    sign=signs,
    tilt=st.floats(0, 2),
    film=films,
    seed=seeds,
    cos=st.floats(0.9, 0.985),
)
def test_a_lowered_eye_is_never_wrong(
    power: float, sign: int, tilt: float, film: float, seed: int, cos: float
) -> None:
    """(analytic) All orders fall by one share: what is decided is right, and much is decided.

    It is decided where the rings over the widest gap run by a quarter of their distance or more.
    """
    rng = np.random.default_rng(seed)
    true = orders(sign * power, tilt, film)
    pair_sense = sense_of_pair(
        reading(true, rng), reading(true * cos, rng, cos), Intervention("lower-eye", SODIUM, SODIUM)
    )
    assert pair_sense.sense in ("unknown", "centre" if sign > 0 else "edge")
    # a film of eight fringes more would bring both senses into step again
    ran, again = (1 - cos) * power, (1 - cos) * (power + 8)
    if ran > 0.28 and again < 0.95 and film < 0.5 and tilt < 0.5:
        assert pair_sense.sense != "unknown"


@settings(max_examples=60)
@given(power=powers, sign=signs, tilt=st.floats(0, 2), film=films, seed=seeds)
def test_a_second_lamp_is_never_wrong(
    power: float, sign: int, tilt: float, film: float, seed: int
) -> None:
    """(analytic) Orders go as one over the wavelength: decided right, or not at all.

    Over some 13 orders sodium and green come into step again, and both senses look the same.
    """
    rng = np.random.default_rng(seed)
    true = orders(sign * power, tilt, film)
    ratio = SODIUM.wavelength_nm / GREEN.wavelength_nm
    change = Intervention("lamp", SODIUM, GREEN)
    pair_sense = sense_of_pair(reading(true, rng), reading(true * ratio, rng), change)
    assert pair_sense.sense in ("unknown", "centre" if sign > 0 else "edge")
    if 3 < power < 5 and film < 0.5 and tilt < 0.5:
        assert pair_sense.sense != "unknown"


@settings(max_examples=60)
@given(
    power=powers,
    sign=signs,
    tilt=st.floats(0, 2),
    closing=st.floats(0.0, 0.48),
    bend=st.floats(0.0, 0.6),
    seed=seeds,
)
def test_a_press_is_never_wrong(
    power: float, sign: int, tilt: float, closing: float, bend: float, seed: int
) -> None:
    """(analytic) The film thins by less than half a fringe, and a hollow middle bends."""
    rng = np.random.default_rng(seed)
    bend = min(bend, power / 3) if sign < 0 else 0.0
    assume(not 0.02 < bend < 0.15)  # a bend about as large as the fits' own errors
    before, after = orders(sign * power, tilt, 1.0), orders(sign * power + bend, tilt, 1 - closing)
    pair_sense = sense_of_pair(
        reading(before, rng), reading(after, rng), Intervention("pressed-centre", SODIUM, SODIUM)
    )
    assert pair_sense.sense in ("unknown", "centre" if sign > 0 else "edge")
    if 0.15 < closing < 0.3 and bend < 0.02:
        assert pair_sense.sense != "unknown"


def test_pairs_that_are_none(rng: np.random.Generator) -> None:
    """Lamps of one wavelength and an eye not lowered are refused; a moved contact tells nothing."""
    true = orders(5.0, 0.5, 0.2)
    plain = reading(true, rng)
    with pytest.raises(BadInput, match="wavelength"):
        sense_of_pair(plain, plain, Intervention("lamp", SODIUM, lamp("helium")))
    with pytest.raises(BadInput, match="lower"):
        sense_of_pair(plain, plain, Intervention("lower-eye", SODIUM, SODIUM))
    moved = reading(orders(5.0, 2.5, 0.2), rng)
    pair_sense = sense_of_pair(plain, moved, Intervention("lamp", SODIUM, GREEN))
    assert pair_sense.sense == "unknown"
    assert "one contact" in pair_sense.reason
    still = sense_of_pair(plain, reading(true, rng), Intervention("pressed-centre", SODIUM, SODIUM))
    assert (still.sense, "hardly moved" in still.reason) == ("unknown", True)


Fall = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]


def cells(
    model: OrderModel, contrast: Fall, rng: np.random.Generator, blur_px: float = 2.0
) -> Cells:
    """Contrast measured to one per cent in 200 places, as a function of u, v and frequency."""
    rho, angle = np.sqrt(rng.uniform(0, 1, 200)), rng.uniform(0, 2 * np.pi, 200)
    u, v = rho * np.cos(angle), rho * np.sin(angle)
    steps = model.frequency(u, v)
    frequency = np.hypot(steps[:, 0], steps[:, 1]) / RADIUS_PX
    seen = contrast(u, v, frequency) * (1 + rng.normal(0, 0.01, len(u)))
    light = np.exp(0.8 * u)  # five times as bright on one side
    order = model.order(u.astype(np.float32), v.astype(np.float32)).astype(float)
    return Cells(seen, np.full(len(u), 0.01), order, u, v, frequency, light, blur_px)


def model_of(power: float, tilt: float, film: float, rng: np.random.Generator) -> OrderModel:
    """Orders as a fit leaves them."""
    return OrderModel(TERMS, as_fitted(orders(power, tilt, film), rng))


@settings(max_examples=30)
@given(
    power=st.floats(3, 15),
    sign=signs,
    tilt=st.floats(0, 2),
    film=films,
    seed=seeds,
    width=st.floats(18, 40),
    blur=st.floats(0, 1.5),
)
def test_the_fall_of_contrast_tells(
    power: float, sign: int, tilt: float, film: float, seed: int, width: float, blur: float
) -> None:
    """(analytic) With a sharp camera the sense is right where decided, and is where it falls far.

    A light that is brighter on one side changes nothing.
    """
    rng = np.random.default_rng(seed)
    led = lamp(f"led:550:{width:.1f}")
    true, fitted = orders(sign * power, tilt, film), model_of(sign * power, tilt, film, rng)
    both = OrderModel(TERMS, true)

    def contrast(u: np.ndarray, v: np.ndarray, f: np.ndarray) -> np.ndarray:
        gap = both.order(u.astype(np.float32), v.astype(np.float32)).astype(float)
        soft = np.exp(-2 * (np.pi * blur * f) ** 2)
        return 0.7 * led.contrast(np.maximum(gap, 0) * led.wavelength_nm) * soft

    ratio = sign * log_ratio(cells(fitted, contrast, rng), fitted, led)
    assert ratio > -DECISIVE
    if power > 11 and width > 30 and tilt < 1:
        assert ratio > DECISIVE


SLOW: dict[str, Fall] = {
    "defocus": lambda u, v, f: 0.7 * np.exp(-2 * (np.pi * 3 * f) ** 2),
    "stray light in the middle": lambda u, v, f: 0.7 - 0.2 * np.exp(-2 * (u * u + v * v)),
    "stray light at one side": lambda u, v, f: 0.6 + 0.12 * u,
    "one contrast": lambda u, v, f: 0.7 + 0 * u,
}


@pytest.mark.parametrize("reason", SLOW)
@pytest.mark.parametrize(("power", "width"), [(6.0, 20), (10.0, 35)])
def test_what_is_not_the_gap_does_not_tell(
    reason: str, power: float, width: float, rng: np.random.Generator
) -> None:
    """Contrast that moves for another reason than the gap leaves the sense undecided.

    The label's fall is faint (six fringes in the light of a 20 nm LED take 16 % off), or the
    lamp has no fall at all where its label promises much (three quarters).
    """
    led = lamp(f"led:550:{width}")
    model = model_of(power, 0.7, 0.3, rng)
    seen = cells(model, SLOW[reason], rng, blur_px=4.0)
    assert abs(log_ratio(seen, model, led)) < DECISIVE


def fall_of_nine(sign: int) -> Fall:
    """Contrast in a sharp picture of nine fringes in the light of a 35 nm LED."""
    led = lamp("led:550:35")
    true = OrderModel(TERMS, orders(sign * 9.0, 0.5, 0.1))

    def contrast(u: np.ndarray, v: np.ndarray, f: np.ndarray) -> np.ndarray:
        gap = true.order(u.astype(np.float32), v.astype(np.float32)).astype(float)
        return 0.7 * led.contrast(np.maximum(gap, 0) * led.wavelength_nm)

    return contrast


@pytest.mark.parametrize("sign", [1, -1])
def test_a_blur_turns_one_sense_into_the_other(sign: int, rng: np.random.Generator) -> None:
    """(analytic) A blur of variance k (M / N) R^2 / 4 pi^2 makes the edge's fall the centre's.

    k is 0.0144 here, M 9.6 orders: 9.9 px. A soft picture of contact at the edge is not told;
    with an edge that is sharp, either sense is.
    """
    led = lamp("led:550:35")
    model = model_of(sign * 9.0, 0.5, 0.1, rng)
    sharp = cells(model, fall_of_nine(sign), rng, blur_px=1.0)
    assert sign * log_ratio(sharp, model, led) > DECISIVE
    soft = 9.9 if sign < 0 else 0.0

    def blurred(u: np.ndarray, v: np.ndarray, f: np.ndarray) -> np.ndarray:
        return fall_of_nine(sign)(u, v, f) * np.exp(-2 * (np.pi * soft * f) ** 2)

    assert abs(log_ratio(cells(model, blurred, rng, blur_px=12.0), model, led)) < DECISIVE


@pytest.mark.parametrize("kind", KINDS)
def test_rendered_pictures(kind: str, rng: np.random.Generator) -> None:
    """One rendered case of each kind of the study is not told wrong."""
    case = run_case(kind, int(rng.integers(2**31)))
    assert case.end != "wrong", case


@pytest.mark.parametrize(("kind", "seed"), ONCE_WRONG[:3])
def test_soft_pictures_and_narrow_lamps_are_not_told_wrong(kind: str, seed: int) -> None:
    """Contact at the edge in soft pictures; all of them: tests/benchmarks/sense.py --known."""
    assert run_case(kind, seed).end != "wrong"


@pytest.mark.parametrize("power", [9.0, -9.0])
def test_an_led_is_read_with_its_sense(power: float, rng: np.random.Generator) -> None:
    """Nine fringes in a 35 nm LED's light are read with their sign, by contrast; in sodium not."""
    from fringe.orders.options import ReadOptions
    from fringe.orders.read import read
    from fringe.photo.load import photo_from_array
    from fringe.synth import Form, Scene, render

    led = lamp("led:525:35")
    scene = Scene(420, 420, form=Form(power=power, tilt=1.0), lamp=led)
    photo = photo_from_array(render(scene, rng).image, "rendered")
    options = ReadOptions(led, edge=scene.edge)
    pair_sense = read(photo, options)
    assert pair_sense.sense_source == "contrast"
    assert pair_sense.power_fringes == pytest.approx(power, abs=0.2)
    narrow = read(photo, replace(options, lamp=SODIUM))
    assert (narrow.sense, narrow.sense_source) == ("unknown", None)

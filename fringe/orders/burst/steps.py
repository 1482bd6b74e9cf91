"""Unknown phase steps of several frames of one contact, solved together.

Each frame shows g_k (A + C cos d_k + S sin d_k), with A, C and S unknown at every pixel, and a
gain and a phase step unknown for every frame; the step may lean across the aperture. The
alternating least squares of the advanced iterative algorithm (Wang & Han, Opt. Lett. 29 (2004)
1671; from memory) solves for the pixels and for the frames in turn. Here the pixels are
eliminated from the Gauss-Newton step of the frames instead (variable projection, Golub &
Pereyra, SIAM J. Numer. Anal. 10 (1973) 413; from memory), which needs far fewer rounds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fringe.orders.burst.pixels import (
    TWO_PI,
    Matrix,
    Stack,
    Steps,
    Vector,
    solve_chunk,
    solve_pixels,
)
from fringe.orders.fit.field import Array

_GAIN_PRIOR = 1e-5  # only decides combinations of gains that the frames do not determine
_PATCH = 12  # side of the patches in which the noise is measured [px]
_LEAN = 1.05  # of a frame against the others that is searched, each way [fringe]


@dataclass(frozen=True)
class Normal:
    """Gauss-Newton equations of gains and steps.

    Attributes
    ----------
    matrix : ndarray, shape (K (1 + Z), K (1 + Z))
        Pixels eliminated; a frame's gain comes before its steps.
    gradient : ndarray, shape (K (1 + Z),)
    cost : float
        Mean square of the residual [light^2], held where a pixel is dirt.
    scale : float
        Median over pixels of the scatter [light].
    """

    matrix: Matrix
    gradient: Vector
    cost: float
    scale: float


def normal_equations(stack: Stack, steps: Steps, scale: float | None = None) -> Normal:
    """Equations for gains and steps with the pixels eliminated.

    Parameters
    ----------
    stack : Stack
    steps : Steps
    scale : float, optional
        Scatter that sets the robust weights [light]; the pixels' own median without it.
    """
    fit, design, columns = solve_chunk(stack, steps)
    median_scatter = float(np.median(fit.scatter)) + 1e-9
    limit = np.float32(3 * (median_scatter if scale is None else scale))
    robust = 1 / (1 + (fit.scatter / limit) ** 4)
    z = steps.values.shape[1]
    slope = TWO_PI * (fit.sin * design[1] - fit.cos * design[2])
    model = stack.light * stack.good - fit.residual
    jacobian = np.concatenate([model[:, None], slope[:, None] * stack.columns[None, :z]], axis=1)
    jacobian = jacobian * np.sqrt(robust)
    size = stack.frames * (1 + z)
    matrix = np.zeros((size, size))
    for k in range(stack.frames):
        rows = slice(k * (1 + z), (k + 1) * (1 + z))
        matrix[rows, rows] = jacobian[k] @ jacobian[k].T
    for column in columns:
        projected = (jacobian * column[:, None]).reshape(size, -1)
        matrix -= projected @ projected.T
    gradient = np.einsum("kap,kp->ka", jacobian, fit.residual * np.sqrt(robust)).ravel()
    limited = np.minimum(fit.scatter, limit)
    return Normal(matrix, gradient.astype(float), float(np.mean(limited**2)), median_scatter)


def improve(stack: Stack, start: Steps, rounds: int) -> tuple[Steps, float]:
    """Levenberg-Marquardt over gains and steps.

    The robust weights are set by the scatter at the start, so that costs compare; call it again
    from the result to set them by the scatter reached.

    Returns
    -------
    steps : Steps
        Levelled.
    cost : float
        Mean square of the residual at the end [light^2].
    """
    steps, damping = start.levelled(), 1e-3
    equations = normal_equations(stack, steps)
    scale = equations.scale
    for _ in range(rounds):
        trial_steps = _damped_step(steps, equations, damping)
        trial = normal_equations(stack, trial_steps, scale)
        if trial.cost <= equations.cost:
            change = float(np.abs(trial_steps.values - steps.values).max())
            gain = equations.cost - trial.cost
            steps, equations, damping = trial_steps, trial, max(damping / 6, 1e-9)
            if change < 2e-6 or (change < 1e-4 and gain < 1e-7 * equations.cost):
                break
        else:
            damping *= 10
            if damping > 1e3:
                break
    return steps, equations.cost


def _damped_step(steps: Steps, equations: Normal, damping: float) -> Steps:
    """One damped step, with a weak prior on the gains."""
    frames, z = steps.values.shape
    diagonal = np.diag(equations.matrix).copy()
    matrix, gradient = equations.matrix.copy(), equations.gradient.copy()
    gains = np.arange(frames) * (1 + z)
    prior = _GAIN_PRIOR * float(diagonal[gains].mean())
    matrix[gains, gains] += prior
    gradient[gains] -= prior * steps.log_gain
    scale = np.sqrt(np.maximum(diagonal, 1e-9 * diagonal.max()))
    scaled = matrix / np.outer(scale, scale) + damping * np.eye(len(scale))
    step = np.linalg.lstsq(scaled, gradient / scale, rcond=1e-9)[0] / scale
    largest = float(np.abs(step).max())
    step = (step * min(1.0, 0.2 / max(largest, 1e-12))).reshape(frames, 1 + z)
    return replace(
        steps, log_gain=steps.log_gain + step[:, 0], values=steps.values + step[:, 1:]
    ).levelled()


def frame_noise(light: Array, good: NDArray[np.bool_], rng: np.random.Generator) -> float:
    """Noise of a frame's light, the steps unknown.

    In a small patch the frames differ in three ways, and slightly in a few more where they lean:
    the least of their principal components are noise.

    Parameters
    ----------
    light : ndarray of float32, shape (K, M, N)
    good : ndarray of bool, shape (M, N)
        Where all frames are usable.
    rng : numpy Generator
    """
    side, frames = _PATCH, len(light)
    least: list[float] = []
    for row, column in rng.integers(0, np.array(good.shape) - side, (400, 2)):
        window = (slice(row, row + side), slice(column, column + side))
        if len(least) < 60 and good[window].all():
            patch = light[(slice(None), *window)].reshape(frames, -1).astype(float)
            values = np.linalg.eigvalsh(patch @ patch.T / side**2)
            least.append(float(values[: max(1, frames // 4)].mean()))
    return float(np.sqrt(max(np.median(least), 0.0))) if least else 0.0


def first_steps(stack: Stack, noise: float, rng: np.random.Generator) -> Steps:
    """Find gains and steps without a start.

    Starts from the frames' principal components over parts of the aperture (Vargas, Quiroga &
    Belenguer, Opt. Lett. 36 (2011) 1326; from memory), from even steps and from random ones;
    then each frame's step is searched again with the others fixed, which escapes a local minimum
    of its lean. The first solution with a residual at the noise is returned, or the best.

    Parameters
    ----------
    stack : Stack
        Some thousands of pixels, its first four columns even, along u and v, and rho^2.
    noise : float
        Of a frame's light, as by `frame_noise`.
    rng : numpy Generator
    """
    frames, zero = stack.frames, np.zeros(stack.frames)
    solutions: list[tuple[float, Steps]] = []
    guesses: list[Vector] = []
    for most in (1.0, 0.4, 0.15):
        guesses += _components(stack, stack.columns[3] < most)
    guesses += [pace * np.arange(frames, dtype=float) for pace in (0.11, 0.25, 0.37)]
    costs_seen: list[float] = []
    for _ in range(5):
        guesses += list(rng.uniform(0, 1, (6, frames)))
        trials = [improve(stack, Steps(zero, guess[:, None]).widened(3), 6) for guess in guesses]
        trials.sort(key=lambda item: item[1])
        for start, _ in trials[:3]:
            steps, cost = improve(stack, start, 20)
            if any(abs(cost / old - 1) < 0.005 for old in costs_seen):
                continue  # the same minimum as before
            costs_seen.append(cost)
            steps = _search_frames(stack, steps, cost, noise, rng)
            solutions.append((_misfit(stack, steps), steps))
            if solutions[-1][0] < _goal(stack, steps, noise):
                return steps
        guesses = []
    return min(solutions, key=lambda pair: pair[0])[1]


def _goal(stack: Stack, steps: Steps, noise: float) -> float:
    """Misfit at the level of the noise, or a hundredth of the amplitude."""
    amplitude = float(np.median(solve_pixels(stack, steps).amplitude))
    return max(2.2 * noise / max(amplitude, 1e-9), 0.012)


def _misfit(stack: Stack, steps: Steps) -> float:
    """Scatter as a share of the fringes' amplitude, raised where that exceeds the light."""
    fit = solve_pixels(stack, steps)
    scatter, amplitude = float(np.median(fit.scatter)), float(np.median(fit.amplitude))
    level = float(np.median(stack.light.max(axis=0))) + 1e-9
    # steps that lie too close together inflate the amplitude
    return scatter / max(min(amplitude, level), 1e-9) * max(1.0, amplitude / level) ** 4


def _search_frames(
    stack: Stack, steps: Steps, cost: float, noise: float, rng: np.random.Generator
) -> Steps:
    """Search each frame's step and lean against the others, as long as it helps.

    First against all others; then against a random half of the frames, since a few frames with
    wrong steps can confirm each other.
    """
    frames = stack.frames
    every = np.ones(frames, bool)
    for number in range(10):
        if _misfit(stack, steps) < _goal(stack, steps, noise):
            break
        trusted = every
        if number > 1:
            trusted = np.isin(np.arange(frames), rng.permutation(frames)[: max(4, frames // 2)])
        trial_steps = steps
        for k in range(frames):
            if number < 2 or not trusted[k]:
                trial_steps = _search_frame(stack, trial_steps, k, trusted)
        trial_steps, trial_cost = improve(stack, trial_steps, 12)
        if trial_cost < cost:
            steps, cost = trial_steps, trial_cost
    return steps


def _search_frame(stack: Stack, steps: Steps, k: int, trusted: NDArray[np.bool_]) -> Steps:
    """Best step and lean of one frame on a grid of leans, the trusted others given."""
    kept = trusted & (np.arange(stack.frames) != k)
    thin = stack.part(slice(None, None, 3))
    others = Stack(thin.light[kept], thin.good[kept], thin.columns)
    fit = solve_pixels(others, Steps(steps.log_gain[kept], steps.values[kept]))
    good = thin.good[k] * (fit.scatter < 3 * np.median(fit.scatter))
    gain = np.float32(np.exp(steps.log_gain[k]))
    deviation = (thin.light[k] / gain - fit.mean) * good
    axis = np.arange(-_LEAN, _LEAN + 1e-9, _LEAN / 7)
    leans = np.stack([x.ravel() for x in np.meshgrid(axis, axis)], axis=1)
    leans = leans + steps.values[kept, 1:3].mean(axis=0)
    phase = TWO_PI * (leans.astype(np.float32) @ thin.columns[1:3])
    cos, sin = np.cos(phase) * good, np.sin(phase) * good
    ahead, beside = fit.cos * cos + fit.sin * sin, fit.sin * cos - fit.cos * sin
    # least squares for cos and sin of the step at each lean
    aa, bb, ab = (ahead**2).sum(axis=1), (beside**2).sum(axis=1), (ahead * beside).sum(axis=1)
    ya, yb = ahead @ deviation, beside @ deviation
    det = np.maximum(aa * bb - ab**2, 1e-6 * aa * bb + 1e-12)
    x, y = (bb * ya - ab * yb) / det, (aa * yb - ab * ya) / det
    # normalised to the amplitude of the other frames
    size = np.maximum(np.hypot(x, y), 1e-9)
    x, y = x / size, y / size
    cost = aa * x * x + bb * y * y + 2 * ab * x * y - 2 * (x * ya + y * yb)
    at = int(cost.argmin())
    values = steps.values.copy()
    values[k, :3] = np.arctan2(y[at], x[at]) / (2 * np.pi), *leans[at]
    return replace(steps, values=values)


def _components(stack: Stack, which: NDArray[np.bool_]) -> list[Vector]:
    """Steps [fringe] from principal components; two guesses, or none."""
    use = which & (stack.good.min(axis=0) > 0)
    if use.sum() < 50:
        return []
    light = stack.light[:, use].astype(float)
    deviation = light - light.mean(axis=0)
    values, vectors = np.linalg.eigh(deviation @ deviation.T)
    if values[-2] <= 0:
        return []
    pair = vectors[:, -2:]
    guesses = [np.arctan2(pair[:, 0], pair[:, 1]) / (2 * np.pi)]
    middle = _circle_from_ellipse(pair * np.sqrt(stack.frames))
    if middle is not None:
        guesses.append(np.arctan2(middle[:, 0], middle[:, 1]) / (2 * np.pi))
    return guesses


def _circle_from_ellipse(points: Matrix) -> Matrix | None:
    """Map points (K, 2) on an ellipse to a circle about the origin; None when on no ellipse."""
    x, y = points.T
    conic = np.linalg.svd(np.stack([x * x, 2 * x * y, y * y, x, y, np.ones_like(x)], axis=1))[2][-1]
    conic = conic * np.sign(conic[0] + conic[2])
    form = np.array([[conic[0], conic[1]], [conic[1], conic[2]]])
    if np.linalg.det(form) <= 1e-9 * np.abs(form).max() ** 2:
        return None
    centre = -0.5 * np.linalg.solve(form, conic[3:5])
    return np.asarray((points - centre) @ np.linalg.cholesky(form))

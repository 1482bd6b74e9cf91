"""A person in a simulated shop, who does what the next step says and guesses what it leaves out."""

from __future__ import annotations

from dataclasses import dataclass

from shops.glass import Glass, Parts
from shops.judged import WORKING, Advice, stage_to_do
from shops.readings import minutes_of

SET_UP_MINUTES = 10.0  # from the advice to the work
BREAKS = 0.15  # share of spells that do not begin at once
GUESSED_MINUTES = 30.0  # where the step tells none
FIRST_MINUTES = 15.0  # of a first stage that is another than the one told


@dataclass(frozen=True)
class Done:
    """What a person is about to do.

    Attributes
    ----------
    stage : str or None
        None: only read again.
    parts : tuple of (str, float)
        Minutes with each piece on top.
    back_at : float or None
        Not to be read before this time of the clock.
    guessed_minutes, guessed_piece, guessed_stage : bool
        What the step did not tell.
    """

    stage: str | None = None
    parts: Parts = ()
    back_at: float | None = None
    guessed_minutes: bool = False
    guessed_piece: bool = False
    guessed_stage: bool = False


def decide(step: Advice, glass: Glass, last_top: str | None, last_power: float | None) -> Done:
    """Turn a next step into what is done.

    Parameters
    ----------
    step : Advice
        The next step.
    glass : Glass
        The surface; only what a person sees of it counts.
    last_top : str or None
        Piece on top in the last spell.
    last_power : float or None
        Last power that was read, with its sign.
    """
    back_at = None if step.back_at is None else minutes_of(step.back_at)
    if step.action not in WORKING:
        return Done(back_at=back_at)
    stage, told_stage = stage_to_do(step, glass.job, glass.stage)
    told_as = stage
    if glass.stage is None and not glass.shop.tells_start:
        # the log does not say what lies on the bench; who sees it begins as practice does
        stage = glass.job.start
    # common practice: power > 0 wants the work more concave, as the upper piece turns
    guess = "work" if (last_power or 0.0) > 0 else "tool"
    if "wrong way" in step.sentence and last_top is not None:
        guess = "tool" if last_top == "work" else "work"
    parts = tuple((top or guess, minutes or GUESSED_MINUTES) for top, minutes in step.parts)
    if stage != told_as:
        parts = ((parts[0][0], FIRST_MINUTES),)
    return Done(
        stage,
        parts,
        back_at,
        guessed_minutes=any(minutes is None for _, minutes in step.parts),
        guessed_piece=any(top is None for top, _ in step.parts),
        guessed_stage=not told_stage or stage != told_as,
    )


def work(glass: Glass, done: Done) -> None:
    """Set up, now and then after a break or the next morning, and work."""
    assert done.stage is not None
    glass.rest(SET_UP_MINUTES)
    if glass.rng.random() < BREAKS:
        glass.rest(float(glass.rng.uniform(60, 900)))
    glass.work(done.stage, done.parts)


def wait(glass: Glass, step: Advice, done: Done) -> None:
    """Let the piece rest before the next reading, as long as the shop does or the step says."""
    shop, rng = glass.shop, glass.rng
    ground = done.stage not in (None, "polish")
    if step.action == "wait" and done.back_at is None:
        own = rng.uniform(20, 60) if shop.hasty else rng.uniform(90, 240)
    elif shop.hasty:
        own = rng.uniform(2, 10)
    elif ground or done.stage is None:
        own = rng.uniform(10, 60)
    else:
        own = rng.uniform(90, 240)
    if step.rest_minutes is not None and done.stage is not None:
        own = max(own, step.rest_minutes)
    until = glass.clock + float(own)
    if done.back_at is not None:
        until = max(until if done.stage else 0.0, done.back_at + float(rng.uniform(0, 10)))
    glass.rest(max(1.0, until - glass.clock))

"""Slips that are asked about: what does not fit as logged, but would if one thing differed."""

from __future__ import annotations

import dataclasses

from fringe.format import plus_minus
from fringe.judge.advice.situation import Situation
from fringe.judge.advice.step import NextStep
from fringe.judge.state.belief import Doubt

# Chance of a slip from which on it is asked about: a question costs a look or a reading, a slip
# that is not asked about a spell the wrong way and another to take it back.
ASKED = 1 / 3
_OTHER_SENSE = {"centre": "edge", "edge": "centre"}


def asked(here: Situation) -> NextStep | None:
    """A question about a sense or a speck of dust, which say where the surface stands."""
    doubt = _worst(here, ("sense", "dust"))
    # once it has been read again without work between, no further reading tells more of it
    if doubt is None or here.readings_since_work > 1:
        return None
    reason = f"what visit {doubt.visit} read does not fit the work before it"
    return NextStep("remeasure", reason, question=question(here, doubt), doubt=doubt)


def with_minutes_asked(here: Situation, step: NextStep) -> NextStep:
    """The same step with a question about logged minutes, which does not hold up the work."""
    doubt = _worst(here, ("minutes twice", "minutes half"))
    if doubt is None or step.question is not None:
        return step
    return dataclasses.replace(step, question=question(here, doubt), doubt=doubt)


def _worst(here: Situation, kinds: tuple[str, ...]) -> Doubt | None:
    # an older visit was asked about then, and has not been corrected since
    latest = [one for one in here.belief.doubts if one.visit >= len(here.rows) - 1]
    found = [one for one in latest if one.kind in kinds and one.probability >= ASKED]
    return max(found, key=lambda one: one.probability, default=None)


def question(here: Situation, doubt: Doubt) -> str:
    """What is asked, and what each answer would mean.

    Parameters
    ----------
    here : Situation
        Of the surface.
    doubt : Doubt
        The slip.
    """
    row = here.rows[doubt.visit - 1]
    then = plus_minus(
        doubt.height_um / here.fringe_um, 2 * doubt.u_um / here.fringe_um, "fringes", signed=True
    )
    number = row.visit or doubt.visit
    if doubt.kind == "sense":
        other = _OTHER_SENSE.get(row.sense, "the other side")
        return (
            f"Is the sense of visit {number} right? If the contact was at the {other}, power is "
            f"now {then}: log --replaces {number} --sense {other}. If it is right, read again"
        )
    if doubt.kind == "dust":
        return (
            f"Was there dust under the spherometer at visit {number}? If so, power is now "
            f"{then}: wipe both, read again, and log it with --replaces {number}. If not, read "
            "again"
        )
    minutes = row.minutes or 0.0
    true = minutes * 2 if doubt.kind == "minutes twice" else minutes / 2
    return (
        f"Were the {minutes:.0f} minutes of visit {number} rather {true:.0f}? If so: log "
        f"--replaces {number} --minutes {true:.0f}, and the rates follow. If not, nothing changes"
    )

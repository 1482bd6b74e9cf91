"""How long to work, and with which piece on top: power and pits in one spell."""

from __future__ import annotations

from collections.abc import Callable

from fringe.judge.advice.situation import Situation
from fringe.judge.advice.wrong_way import OTHER_PIECE
from fringe.judge.state.abrasives import Stage
from fringe.judge.state.observed import Spell

Turns = tuple[tuple[str, float], ...]

# A spell that has this chance of passing through the whole band is too long; of polishing, of
# grinding.
PASSING = {True: 0.04, False: 0.15}
LONGEST_SPELL = {True: 240.0, False: 150.0}  # of polish, of a grit [min]; longer is read in between
LONGEST_TRIAL = 60.0  # minutes, where nothing logged tells how fast this work is
# of polishing where nobody can tell how far it is: long enough to show something
UNSEEN_MINUTES = 120.0
TURNED_MINUTES = 20.0  # of a spell with the other piece than practice has it
LEAST_TURN, LEAST_SHARE = 2.0, 0.05  # minutes, and share of the spell, worth turning the pieces for
LEAST_NET = 2.0  # minutes, where only power asks for them
_HALVINGS = 9


def turns(here: Situation, stage: Stage, pit_minutes: float, half_width_um: float | None) -> Turns:
    """The next spell: the minutes that the pits ask for, power brought to the middle with them.

    What power needs goes with the piece that it asks for; of the rest, each piece gets as much
    as keeps power where it is.

    Parameters
    ----------
    here : Situation
        Of the surface.
    stage : Stage
        The work.
    pit_minutes : float
        What the pits ask for [min].
    half_width_um : float or None
        Largest height of power that is allowed of either sign [um]; None: no limit.
    """
    piece = here.toward(stage)
    if (piece == "work") != (here.median_um > 0):  # turned round, against what is believed
        return ((piece, TURNED_MINUTES),)
    longest = LONGEST_TRIAL if untried(here, stage) else LONGEST_SPELL[stage.polish]
    if stage.polish and here.unseen:
        return ((piece, min(longest, max(pit_minutes, UNSEEN_MINUTES))),)
    to, back = (here.pace(stage, one) for one in (piece, OTHER_PIECE[piece]))

    def shared(net: float) -> Turns:
        """The spell with so many minutes toward the middle, beside those that keep power."""
        total = max(net, min(pit_minutes, longest))
        other = (total - net) * to / (to + back)
        least = max(LEAST_TURN, LEAST_SHARE * total)
        if other < least:
            return ((piece, net if net >= total - least else total),)
        return (piece, total - other), (OTHER_PIECE[piece], other)

    middle = min(abs(here.median_um) / to, longest)
    net = middle if half_width_um is None else _short(here, stage, shared, middle, half_width_um)
    found = shared(max(net, LEAST_NET if not pit_minutes else 0.0))
    return tuple(sorted(found, key=lambda turn: -turn[1]))


def _short(
    here: Situation, stage: Stage, shared: Callable[[float], Turns], middle: float, half_um: float
) -> float:
    """Net minutes toward the middle, so few that the spell hardly passes through the band."""
    sign = 1.0 if here.median_um > 0 else -1.0

    def beyond(net: float) -> float:
        """Chance that the spell ends on the far side of the band."""
        spells = [Spell(stage, minutes, piece) for piece, minutes in shared(net)]
        below = here.likely.after(spells).below(-sign * half_um)
        return below if sign > 0 else 1 - below

    height = here.likely.height
    already = height.below(-sign * half_um)
    most = PASSING[stage.polish] + (already if sign > 0 else 1 - already)
    if beyond(middle) <= most:
        return middle
    low, high = 0.0, middle
    for _ in range(_HALVINGS):
        tried = (low + high) / 2
        low, high = (tried, high) if beyond(tried) <= most else (low, tried)
    return low


def untried(here: Situation, stage: Stage) -> bool:
    """Whether nothing that was logged tells how fast a stage works."""
    if here.belief.taught.get(stage.key):
        return False
    return not any(one.stage.key == stage.key and one.minutes for one in here.belief.spells)

"""The life of a simulated surface whose maker does whatever the next step says."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from fringe.judge.progress import Progress
from fringe.judge.state.visits import NO_WORK, VisitRecord, Work
from fringe.judge.tolerance.measured import Measured
from shops.glass import Glass
from shops.judged import Advice, Foretold, Logged, advice, claimed, foretold, judge
from shops.person import GUESSED_MINUTES, Done, decide, wait, work
from shops.readings import Blunder, generator, logged_work, read, record, rested
from shops.shop import Job, Shop

MOST_VISITS = 40
LEFT_UM = 0.5  # pits deeper than this are seen on the finished surface
AWAY = 2.0  # a surface has run away when its height has grown by this factor
LONGEST_MINUTES = 6000.0  # a stage that takes longer never gets there


@dataclass(frozen=True)
class Seen:
    """One visit of a life: truth, log and advice.

    Attributes
    ----------
    clock : float
        Minutes since the surface came in.
    stage : str or None
        Work since the visit before.
    parts : tuple of (str, float)
        Minutes with each piece on top, as they truly were.
    before, power, shown : float
        True power before and after the work, and what a perfect instrument would read [fringe].
    pits_um : float
        How much deeper the deepest pits are than the stage's own.
    read : tuple of (str, float, float)
        Source, power and standard uncertainty of each reading as logged.
    inside : bool
        Whether it is truly inside.
    blunders : tuple of Blunder
        Of this visit.
    asked : tuple of (str, int)
        Blunders that the step asks about.
    action, sentence : str
        The next step.
    claimed : float or None
        Probability to be inside, as claimed.
    foretold : Foretold
        What the step before this visit foretold of it.
    minutes_needed : float or None
        What the foretold minutes truly would have been, from this visit's state.
    guessed : (bool, bool, bool)
        Whether minutes, piece and stage of this visit's work were guessed.
    """

    clock: float
    stage: str | None
    parts: tuple[tuple[str, float], ...]
    before: float
    power: float
    shown: float
    pits_um: float
    read: tuple[tuple[str, float, float], ...]
    inside: bool
    blunders: tuple[Blunder, ...]
    asked: tuple[tuple[str, int], ...]
    action: str
    sentence: str
    claimed: float | None
    foretold: Foretold
    minutes_needed: float | None
    guessed: tuple[bool, bool, bool]


@dataclass
class Life:
    """A life so far, and its log."""

    glass: Glass
    seeds: tuple[int, ...]
    visits: list[VisitRecord] = field(default_factory=list)
    true_work: dict[int, Work] = field(default_factory=dict)
    blunders: list[Blunder] = field(default_factory=list)
    corrected: set[int] = field(default_factory=set)
    seen: list[Seen] = field(default_factory=list)
    errs: dict[str, float] = field(default_factory=dict)
    last_top: str | None = None
    stopped: bool = False


def live(
    shop: Shop,
    job: Job,
    earlier: Sequence[Logged],
    seeds: tuple[int, ...],
    most_visits: int = MOST_VISITS,
) -> Life:
    """Make a surface by doing whatever the next step says, until it says `stop`.

    Parameters
    ----------
    shop : Shop
        The shop; its drifting state goes on.
    job : Job
        The surface.
    earlier : sequence of Logged
        Surfaces that the shop made before.
    seeds : tuple of int
        Of this life's random numbers.
    most_visits : int
        Given up after so many.
    """
    life = Life(Glass.begin(shop, job, generator(*seeds, 1)), seeds)
    done, promised, before = Done(), Foretold(), life.glass.power
    for number in range(1, most_visits + 1):
        judged = _visit(life, number, done, earlier)
        step = advice(judged)
        asked = step.asked
        while _answer(life, step):
            # the correction is logged, and the tool says at once what is to be done now
            judged = judge(job, life.visits, earlier)
            step = advice(judged)
            asked += step.asked
        step = replace(step, asked=tuple(dict.fromkeys(asked)))
        life.seen.append(_seen(life, number, before, done, step, judged, promised))
        if step.action == "stop":
            life.stopped = True
            break
        promised = foretold(judged, job)
        done = decide(step, life.glass, life.last_top, _last_power(life))
        if not _as_foretold(done):
            promised = Foretold(minutes=promised.minutes, width_um=promised.width_um)
        before = life.glass.power
        if done.stage is not None:
            work(life.glass, done)
            life.last_top = done.parts[-1][0]
        wait(life.glass, step, done)
    return life


def _visit(life: Life, number: int, done: Done, earlier: Sequence[Logged]) -> Progress:
    """Log a visit, and judge."""
    glass = life.glass
    logged, slip, true = NO_WORK, None, NO_WORK
    if done.stage is not None:
        logged, slip, true = logged_work(glass, done.stage, done.parts, number)
    elif number > 1:
        logged = true = rested(glass)
    elif glass.shop.tells_start:
        logged = true = Work(stage=glass.job.came_from)
    readings, mistake = read(glass, number, life.errs)
    life.blunders += [one for one in (slip, mistake) if one is not None]
    life.true_work[number] = true
    life.visits.append(record(number, glass.clock, logged, readings))
    return judge(glass.job, life.visits, earlier)


def _answer(life: Life, step: Advice) -> bool:
    """Answer what is asked truly: correct the visit that was wrong, leave the others.

    Returns
    -------
    bool
        Whether anything was corrected.
    """
    count = len(life.corrected)
    for kind, number in step.asked:
        wrong = [b for b in life.blunders if (b.kind, b.visit) == (kind, number)]
        if not wrong or number in life.corrected or not 1 <= number <= len(life.visits):
            continue
        life.corrected.add(number)
        visit = life.visits[number - 1]
        if kind == "minutes":
            visit = replace(visit, work=life.true_work[number])
        if kind == "sense":
            visit = replace(visit, measured=tuple(_flipped(m) for m in visit.measured))
        if kind == "dust" and number < len(life.visits):
            visit = replace(visit, measured=())
        elif kind == "dust":
            # the piece still lies there: it is wiped and read anew
            visit = replace(visit, measured=_clean(life))
        life.visits[number - 1] = visit
    return len(life.corrected) > count


def _flipped(one: Measured) -> Measured:
    sense = {"centre": "edge", "edge": "centre"}[one.sense]
    return replace(one, power_fringes=-(one.power_fringes or 0.0), sense=sense)


def _clean(life: Life) -> tuple[Measured, ...]:
    """Read the piece anew, without a blunder."""
    law = life.glass.shop.law
    life.glass.shop.law = replace(law, blunders=0.0)
    readings, _ = read(life.glass, len(life.visits), life.errs)
    life.glass.shop.law = law
    return readings


def _last_power(life: Life) -> float | None:
    for visit in reversed(life.visits):
        for one in visit.measured:
            return one.power_fringes
    return None


def _as_foretold(done: Done) -> bool:
    return not (done.guessed_minutes or done.guessed_piece or done.guessed_stage)


def _seen(
    life: Life,
    number: int,
    before: float,
    done: Done,
    step: Advice,
    judged: Progress,
    promised: Foretold,
) -> Seen:
    glass, visit = life.glass, life.visits[number - 1]
    return Seen(
        clock=glass.clock,
        stage=done.stage,
        parts=done.parts,
        before=before,
        power=glass.power,
        shown=glass.shown_um / glass.job.fringe_um,
        pits_um=glass.pits_left_um,
        read=tuple(
            (m.source, m.power_fringes or 0.0, m.power_u_fringes or 0.0) for m in visit.measured
        ),
        inside=glass.inside,
        blunders=tuple(b for b in life.blunders if b.visit == number),
        asked=step.asked,
        action=step.action,
        sentence=step.sentence,
        claimed=claimed(judged),
        foretold=promised,
        minutes_needed=_minutes_needed(life, number, foretold(judged, glass.job), step),
        guessed=(done.guessed_minutes, done.guessed_piece, done.guessed_stage),
    )


def _minutes_needed(life: Life, number: int, promised: Foretold, step: Advice) -> float | None:
    """How long the foretold work would truly take from here, in spells of usual length."""
    if promised.minutes is None or step.action == "stop":
        return None
    glass = life.glass.twin(generator(*life.seeds, 4, number))
    done = decide(step, glass, life.last_top, _last_power(life))
    assert done.stage is not None
    top, width = promised.on_top or done.parts[0][0], promised.width_um
    # the work on top makes the height smaller: what lies below the band already has passed it
    sign, minutes = (1.0 if top == "work" else -1.0), 0.0
    left = sign * glass.height_um - width
    while left > 0 and minutes < LONGEST_MINUTES:
        glass.work(done.stage, ((top, GUESSED_MINUTES),))
        before, left = left, sign * glass.height_um - width
        if left <= 0:
            return minutes + GUESSED_MINUTES * before / (before - left)
        minutes += GUESSED_MINUTES
    if left <= 0:
        return 0.0
    return math.inf

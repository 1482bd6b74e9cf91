"""What came of many lives: every bar of the advice, counted."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from shops.baselines import Reached, half_time, oracle
from shops.judged import Logged
from shops.laws import Law
from shops.life import AWAY, LEFT_UM, MOST_VISITS, Life, Seen, live
from shops.readings import generator
from shops.shop import GRAINS_UM, PITS_BY, Job, Shop, draw_job, draw_shop

AWAY_SPELLS = 3  # one after the other that make a surface run away
LATE = 5  # a shop's surfaces from this one on have something to learn from
HEIGHTS_APART_UM = 15.0, 1.0  # least height from which grinding and polishing can run away


@dataclass(frozen=True)
class Finished:
    """A life with what it is held against, and all that is counted of it.

    Attributes
    ----------
    shop, surface : int
        Numbers from 0 and from 1.
    law, pits_by : str
        Of the shop.
    hasty, tells_start : bool
        Of the shop.
    job : Job
        The surface.
    stopped : bool
        Whether `stop` was said.
    seen : tuple of Seen
        Its visits.
    oracle, half : Reached
        How the others fared.
    """

    shop: int
    surface: int
    law: str
    pits_by: str
    hasty: bool
    tells_start: bool
    job: Job
    stopped: bool
    seen: tuple[Seen, ...]
    oracle: Reached
    half: Reached

    @property
    def minutes(self) -> float:
        """Work in all."""
        return math.fsum(m for one in self.seen for _, m in one.parts)

    @property
    def false_stop(self) -> bool:
        """Whether it was said to be done and is outside."""
        return self.stopped and not self.seen[-1].inside

    @property
    def pits_left(self) -> bool:
        """Whether it was said to be done and has pits left, or is grey."""
        grey = self.seen[-1].pits_um > LEFT_UM or not self._polished
        return self.stopped and grey

    @property
    def _polished(self) -> bool:
        stages = [one.stage for one in self.seen if one.stage]
        return (stages[-1] if stages else self.job.start) == "polish"

    @property
    def ran_away(self) -> bool:
        """Whether three spells one after the other took the height away, to several times its size.

        One or two spells that go too far are overshoots, or polish that once went the other way;
        a life runs away where the advice follows.
        """
        fringe, row, start = self.job.fringe_um, 0, 0.0
        last: tuple[bool, float] | None = None
        for one in self.seen:
            if not one.stage:
                continue
            polish = one.stage == "polish"
            follows = last is not None and last[0] == polish and one.power * last[1] > 0
            farther = abs(one.power) > abs(one.before)
            if not (farther and follows and row):
                row, start = 0, abs(one.before)
            row, last = row + farther, (polish, one.power)
            least = max(HEIGHTS_APART_UM[polish], 5 * self.job.limit_um)
            if row >= AWAY_SPELLS and abs(one.power) * fringe > AWAY * max(start * fringe, least):
                return True
        return False


def shop_lives(
    number: int,
    law: Law,
    seed: int,
    surfaces: int,
    *,
    hasty: bool | None = None,
    pits_by: str | None = None,
    most_visits: int = MOST_VISITS,
) -> list[Finished]:
    """Let one shop make its surfaces, each taught by those before."""
    shop = draw_shop(generator(seed, number), law, hasty=hasty, pits_by=pits_by)
    earlier: list[Logged] = []
    found = []
    for surface in range(1, surfaces + 1):
        job = draw_job(generator(seed, number, surface), shop)
        known = oracle(shop, job, generator(seed, number, surface, 2))
        half = half_time(shop, job, generator(seed, number, surface, 3))
        life = live(shop, job, earlier, (seed, number, surface), most_visits)
        earlier.append(Logged(job, tuple(life.visits)))
        found.append(_finished(life, shop, number, surface, known, half))
    return found


def _finished(
    life: Life, shop: Shop, number: int, surface: int, known: Reached, half: Reached
) -> Finished:
    return Finished(
        number,
        surface,
        shop.law.name,
        shop.pits_by,
        shop.hasty,
        shop.tells_start,
        life.glass.job,
        life.stopped,
        tuple(life.seen),
        known,
        half,
    )


@dataclass(frozen=True)
class Row:
    """One line of the table.

    Attributes
    ----------
    what : str
        What is counted.
    value : float or None
        A share, ratio or count; None where nothing was there to count.
    count : int
        Out of how many.
    bar : str
        What it is to reach.
    met : bool or None
        Whether it does; None without a bar.
    """

    what: str
    value: float | None
    count: int
    bar: str = ""
    met: bool | None = None


def table(lives: Sequence[Finished]) -> list[Row]:
    """Count every bar over the lives."""
    return [
        *_stops(lives),
        *_steps(lives),
        *_against_oracle(lives),
        *_spells(lives),
        *_coverage(lives),
        *_chances(lives),
        *_blunders(lives),
    ]


def share(hits: Iterable[bool]) -> tuple[float | None, int]:
    """Share of what is true, and out of how many."""
    every = list(hits)
    return (sum(every) / len(every) if every else None), len(every)


def _row(
    what: str,
    found: tuple[float | None, int],
    bar: str = "",
    ok: Callable[[float], bool] | None = None,
) -> Row:
    value, count = found
    return Row(what, value, count, bar, None if value is None or ok is None else ok(value))


def _stops(lives: Sequence[Finished]) -> list[Row]:
    stopped = [one for one in lives if one.stopped]
    claims = [one.seen[-1].claimed for one in stopped]
    known = [(c, o) for c, o in zip(claims, stopped, strict=True) if c is not None]
    true = share(not o.false_stop for _, o in known)
    claimed = sum(c for c, _ in known) / len(known) if known else None
    off = None if claimed is None or true[0] is None else abs(claimed - true[0])
    loupe, gauge, nothing = ([one for one in stopped if one.pits_by == by] for by in PITS_BY)
    # a gauge tells of pits where the log says what made them
    known_gauge = [one for one in gauge if one.tells_start]
    untold = [one for one in gauge if not one.tells_start]
    rows = [_row("said stop", share(one.stopped for one in lives), "1", lambda v: v == 1)]
    for name, some in _habits(stopped):
        rows.append(
            _row(f"false stops{name}", share(o.false_stop for o in some), "≤ 0.01", _most(0.01))
        )
    return [
        *rows,
        _row("inside at stop, claimed", (claimed, len(known))),
        _row("inside at stop, claimed less true", (off, len(known)), "≤ 0.005", _most(0.005)),
        _pits("told of", [*loupe, *known_gauge], 0.02),
        _pits("by loupe", loupe),
        _pits("by gauge, first grit logged", known_gauge),
        _pits("by gauge, first grit not logged", untold),
        _pits("nothing told", nothing),
        _row("ran away", share(one.ran_away for one in lives), "0", lambda v: v == 0),
    ]


def _pits(what: str, lives: Sequence[Finished], bar: float | None = None) -> Row:
    limit = ("", None) if bar is None else (f"≤ {bar}", _most(bar))
    return _row(f"pits left, {what}", share(one.pits_left for one in lives), *limit)


def _most(limit: float) -> Callable[[float], bool]:
    return lambda value: value <= limit


def _within(low: float, high: float) -> Callable[[float], bool]:
    return lambda value: low <= value <= high


def _habits(lives: Sequence[Finished]) -> list[tuple[str, list[Finished]]]:
    """All lives, those of the hasty and those of the careful."""
    return [
        ("", list(lives)),
        (", hasty", [one for one in lives if one.hasty]),
        (", careful", [one for one in lives if not one.hasty]),
    ]


def _steps(lives: Sequence[Finished]) -> list[Row]:
    worked = [one for life in lives for one in life.seen if one.stage]
    turns = [
        second.stage != "polish"
        for life in lives
        for first, second in _following(life)
        if first.stage == "polish"
    ]
    return [
        _row("steps without minutes", share(o.guessed[0] for o in worked), "0", lambda v: v == 0),
        _row(
            "steps without piece on top", share(o.guessed[1] for o in worked), "0", lambda v: v == 0
        ),
        _row("steps without stage, where it is another", share(o.guessed[2] for o in worked)),
        _row("polish followed by grinding", share(turns)),
    ]


def _following(life: Finished) -> list[tuple[Seen, Seen]]:
    worked = [one for one in life.seen if one.stage]
    return list(pairwise(worked))


def _against_oracle(lives: Sequence[Finished]) -> list[Row]:
    last = max((one.surface for one in lives), default=0)
    rows = [
        _ratio("visits over the oracle's, first surface", _first(lives), _visits, 2.1),
        _ratio(f"visits over the oracle's, from surface {LATE}", _late(lives), _visits, 1.8),
        _ratio(
            f"visits over the oracle's, surface {last}",
            [o for o in lives if o.surface == last],
            _visits,
        ),
    ]
    bars = {"loupe": (1.9, 1.3), "gauge": (2.4, 1.6), "nothing": (None, None)}
    for pits_by, (first, late) in bars.items():
        some = [one for one in lives if one.pits_by == pits_by]
        rows.append(
            _ratio(f"minutes over the oracle's, first, {pits_by}", _first(some), _minutes, first)
        )
        rows.append(
            _ratio(f"minutes over the oracle's, late, {pits_by}", _late(some), _minutes, late)
        )
    mean = [sum(_visits(o)[i] for o in lives) / len(lives) if lives else None for i in range(2)]
    halved = sum(o.half.visits for o in lives) / len(lives) if lives else None
    return [
        *rows,
        Row("visits, mean", mean[0], len(lives)),
        Row("visits of the oracle, mean", mean[1], len(lives)),
        Row("visits with half the estimated time, mean", halved, len(lives)),
        _ratio("minutes of half the estimated time over the oracle's", lives, _half_minutes),
        _row(
            "false stops of half the estimated time",
            share(not o.half.inside for o in lives if o.half.stopped),
        ),
        _row("said stop, half the estimated time", share(o.half.stopped for o in lives)),
        _row("said stop, the oracle", share(o.oracle.stopped for o in lives)),
    ]


def _first(lives: Sequence[Finished]) -> list[Finished]:
    return [one for one in lives if one.surface == 1]


def _late(lives: Sequence[Finished]) -> list[Finished]:
    return [one for one in lives if one.surface >= LATE]


def _visits(one: Finished) -> tuple[float, float]:
    return len(one.seen), one.oracle.visits


def _minutes(one: Finished) -> tuple[float, float]:
    return one.minutes, one.oracle.minutes


def _half_minutes(one: Finished) -> tuple[float, float]:
    return one.half.minutes, one.oracle.minutes


def _ratio(
    what: str,
    lives: Sequence[Finished],
    pair: Callable[[Finished], tuple[float, float]],
    bar: float | None = None,
) -> Row:
    """Mean over the oracle's mean."""
    above, below = (sum(pair(one)[i] for one in lives) for i in range(2))
    value = above / below if below else None
    limit = "" if bar is None else f"≤ {bar}"
    return _row(what, (value, len(lives)), limit, None if bar is None else _most(bar))


def _spells(lives: Sequence[Finished]) -> list[Row]:
    over = {"polish": [], "grind": []}
    for life in lives:
        for one in life.seen:
            if one.stage:
                limit = life.job.tolerance_fringes
                past = min(abs(one.before), abs(one.power)) > limit and one.before * one.power < 0
                over["polish" if one.stage == "polish" else "grind"].append(past)
    return [
        _row("polishing past both limits", share(over["polish"]), "≤ 0.03", _most(0.03)),
        _row("grinding past both limits", share(over["grind"])),
    ]


def _coverage(lives: Sequence[Finished]) -> list[Row]:
    stages = [*GRAINS_UM, "polish"]
    heights: dict[str, list[bool]] = {stage: [] for stage in stages}
    minutes: dict[str, list[bool]] = {stage: [] for stage in stages}
    for life in lives:
        for before, one in pairwise(life.seen):
            if not one.stage:
                continue
            told = one.foretold
            if told.height_um is not None:
                low, high = told.height_um
                heights[one.stage].append(low <= one.power * life.job.fringe_um <= high)
            if told.minutes is not None and before.minutes_needed is not None:
                low, high = told.minutes
                minutes[one.stage].append(low <= before.minutes_needed <= high)
    rows = []
    for name, found in (("height", heights), ("minutes", minutes)):
        every = [hit for hits in found.values() for hit in hits]
        for stage, hits in (("all", every), *found.items()):
            row = _row(
                f"90 % interval of {name}, {stage}",
                share(hits),
                "0.86 to 0.95",
                _within(0.86, 0.95),
            )
            rows.append(row)
    return rows


def _chances(lives: Sequence[Finished]) -> list[Row]:
    pairs = [
        (one.foretold.inside, one.inside)
        for life in lives
        for one in life.seen
        if one.stage == "polish" and one.foretold.inside is not None
    ]
    rows = []
    edges = [0.0, 0.2, 0.4, 0.6, 0.8, 0.95, 1.01]
    for low, high in [(0.0, 1.01), *pairwise(edges)]:
        some = [(p, i) for p, i in pairs if low <= p < high]
        claimed = sum(p for p, _ in some) / len(some) if some else None
        true, count = share(i for _, i in some)
        off = None if claimed is None or true is None else claimed - true
        name = "all" if high - low > 1 else f"{low:.2f} to {min(high, 1):.2f}"
        what = f"inside after polish, claimed less true, {name}"
        rows.append(_row(what, (off, count), "±0.05", _within(-0.05, 0.05)))
    return rows


def _blunders(lives: Sequence[Finished]) -> list[Row]:
    found: dict[str, list[bool]] = {"sense": [], "dust": [], "minutes": [], "gauged": []}
    for life in lives:
        asked = [(kind, n, i) for i, one in enumerate(life.seen, 1) for kind, n in one.asked]
        for i, one in enumerate(life.seen, 1):
            for b in one.blunders:
                # the last visit of a life is followed by none that could tell
                if b.matters and (i + 1 <= len(life.seen)):
                    named = any((k, n) == (b.kind, b.visit) and at <= i + 1 for k, n, at in asked)
                    found[b.kind].append(named)
                    if b.kind == "minutes" and life.pits_by == "gauge":
                        found["gauged"].append(named)
    false = []
    for life in lives:
        wrong = {b.visit for one in life.seen for b in one.blunders}
        before: set[tuple[str, int]] = set()
        for one in life.seen:
            # what is asked again is no new alarm
            false.append(any(q not in before and q[1] not in wrong for q in one.asked))
            before.update(one.asked)
    return [
        _row(
            "wrong senses named one visit later", share(found["sense"]), "≥ 0.6", lambda v: v >= 0.6
        ),
        _row("dust named one visit later", share(found["dust"]), "≥ 0.9", lambda v: v >= 0.9),
        _row("wrong minutes named one visit later", share(found["minutes"])),
        _row(
            "wrong minutes named, with a gauge",
            share(found["gauged"]),
            "≥ 0.75",
            lambda v: v >= 0.75,
        ),
        _row("visits with a false alarm", share(false), "≤ 0.01", _most(0.01)),
    ]

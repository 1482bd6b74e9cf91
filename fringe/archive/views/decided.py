"""What was decided of an archive's surfaces, kept in its index by all that it hangs on.

A verdict hangs on the surface's record and visits, those of the partner that it is made to, and
the code that decides; what to do next, on the surfaces that taught the shop as well. Neither
hangs on the time of day: a rest is counted from the last visit.

One visit teaches every surface of a like size, hundreds in a large archive, and each of them
hardly anything. So a list works the steps out anew of surfaces that changed themselves, of those
for which more than a half of the surfaces that taught them have changed, and of a few more, in
turn; of the others it says how many of the surfaces that teach them have changed since.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fringe.archive.store.deciding import deciding_code
from fringe.archive.store.heads import Head, content_of, kept_heads, list_heads
from fringe.archive.store.index import LISTED, own_entry
from fringe.archive.store.kept_summaries import FOLDER
from fringe.archive.views.surface_state import MOST_LIKE, LoggedVisits, OtherSurfaces
from fringe.errors import BadInput
from fringe.parallel import cores, run_many

_KEY = 16  # characters of a key that tell it from any other of an archive
_FEW = 60  # steps that are worked out before other cores are ready to
# Of the steps that only other surfaces' visits changed: so many are worked out by one list, and
# all for which more other surfaces changed than this.
_IN_TURN = 40
_MOST_BEHIND = MOST_LIKE // 2


@dataclass(frozen=True)
class Decided:
    """What was decided of a surface.

    Attributes
    ----------
    key : str
        Stands for all that this hangs on, but for the next step.
    worked : bool
        Whether a visit worked or read, of which the following tells.
    state : str or None
        Of the verdict by today's tolerance; None without one.
    probability : float or None
        Of conformity.
    power_fringes, power_u95_fringes, sense
        As in `VisitRow`.
    teaches : bool
        Whether other surfaces learn from it.
    step_key, step : str or None
        The next step in words, and all that it hangs on: the surface's own key, then those of
        the surfaces that taught it. None: not asked yet.
    """

    key: str
    worked: bool = False
    state: str | None = None
    probability: float | None = None
    power_fringes: float | None = None
    power_u95_fringes: float | None = None
    sense: str | None = None
    teaches: bool = False
    step_key: str | None = None
    step: str | None = None


def decided_problems(archive: Path) -> list[str]:
    """Compare what the index keeps of verdicts and next steps with what follows from the visits.

    What hangs on something else by now is not shown by any list, but for the next steps that
    wait for their turn; these cannot be held against anything, and are not vouched for.

    Returns
    -------
    list of str
        One line each.
    """
    if not kept_heads(archive):
        return []
    heads = list_heads(archive).heads
    kept = {one.folder: _kept(one.decided) for one in heads if one.decided}
    asked = {folder for folder, one in kept.items() if one is not None and one.step_key}
    anew = Decisions([dataclasses.replace(one, decided={}) for one in heads])
    if asked:
        anew.add_steps()
    lies = []
    for folder, one in kept.items():
        truth = anew.of(folder)
        if one is None or one.key != truth.key:
            continue
        if one.step_key != truth.step_key:
            truth = dataclasses.replace(truth, step_key=one.step_key, step=one.step)
        if json.dumps(vars(one)) != json.dumps(vars(truth)):
            lies.append(folder.name)
    place = archive / FOLDER / LISTED
    return [
        f"{place}: it does not say what follows from the visits of {n}; remove it" for n in lies
    ]


@dataclass(frozen=True)
class _Job:
    """A next step to work out: whose, from which others, and what all of them hold.

    Attributes
    ----------
    folder, like, contents
    key : str
        As `step_key` of :class:`Decided`.
    changed : int
        Other surfaces that changed since it was decided last.
    """

    folder: Path
    like: tuple[Path, ...]
    contents: tuple[str, ...]
    key: str
    changed: int


def _changed(before: str | None, now: str) -> int:
    """How many other surfaces changed between two keys; more than any number where its own did."""
    own, *others = now.split()
    known, *taught = before.split() if before else [""]
    if known != own:
        return MOST_LIKE + 1
    return max(len({*others} - {*taught}), len({*taught} - {*others}))


def _in_turn(behind: Sequence[_Job]) -> tuple[Sequence[_Job], Sequence[_Job]]:
    """Which jobs a list does of those that may wait, and which it leaves.

    Those from the first one on for which most has changed: neighbours in size, which others
    taught alike, cost less than as many from here and there.
    """
    if len(behind) <= _IN_TURN:
        return behind, ()
    most = max(job.changed for job in behind)
    first = next(i for i, job in enumerate(behind) if job.changed == most)
    turned = [*behind[first:], *behind[:first]]
    return turned[:_IN_TURN], turned[_IN_TURN:]


class Decisions:
    """Decides of all surfaces of a list what is not decided yet.

    Parameters
    ----------
    heads : sequence of Head
        All of an archive.
    """

    def __init__(self, heads: Sequence[Head]) -> None:
        self._heads = {one.folder: one for one in heads}
        self._named: dict[str, list[Head]] = {}
        for one in heads:
            self._named.setdefault(one.name, []).append(one)
        self._others = _ListedSurfaces(self)
        self._found = {one.folder: self._verdict(one) for one in heads}
        self._behind: dict[Path, int] = {}

    @property
    def heads(self) -> tuple[Head, ...]:
        """The heads with what is decided now."""
        return tuple(
            dataclasses.replace(one, decided=dict(vars(self._found[one.folder])))
            for one in self._heads.values()
        )

    @property
    def changed(self) -> bool:
        """Whether more is decided than was kept."""
        return any(vars(self._found[f]) != one.decided for f, one in self._heads.items())

    def of(self, folder: Path) -> Decided:
        """What is decided of one surface."""
        return self._found[folder]

    def behind(self, folder: Path) -> int:
        """How many surfaces changed of those that teach it, since its next step was decided."""
        return self._behind.get(folder, 0)

    def head(self, folder: Path) -> Head | None:
        """What the list knows of a folder."""
        return self._heads.get(folder)

    def add_steps(self) -> None:
        """Decide what to do next with each surface."""
        jobs, behind = [], []
        for one in sorted(self._heads.values(), key=lambda head: head.diameter_mm or 0.0):
            if one.diameter_mm is None:
                continue
            like = tuple(self._others.like(one.folder, one.diameter_mm))
            key = " ".join(self._found[folder].key[:_KEY] for folder in (one.folder, *like))
            changed = _changed(self._found[one.folder].step_key, key)
            contents = tuple(self._heads[folder].content for folder in (one.folder, *like))
            job = _Job(one.folder, like, contents, key, changed)
            if changed > _MOST_BEHIND:
                jobs.append(job)
            elif changed > 0:
                behind.append(job)
        taken, left = _in_turn(behind)
        self._behind = {job.folder: job.changed for job in left}
        jobs += taken
        for job, step in zip(jobs, _all_steps(jobs), strict=True):
            found = self._found[job.folder]
            # what changed meanwhile is shown, and worked out again by the next list
            kept_key = job.key if step.current else None
            self._found[job.folder] = dataclasses.replace(found, step_key=kept_key, step=step.text)

    def _verdict(self, head: Head) -> Decided:
        key = self._key(head)
        known = _kept(head.decided)
        if known is not None and known.key == key:
            return known
        surface, entry = head.surface, own_entry(head.folder)
        if surface is None or entry is None:
            return Decided(key)
        visits = LoggedVisits(surface, entry.visits)
        row, verdict = visits.last()
        return Decided(
            key,
            row is not None,
            None if verdict is None else verdict.state,
            None if verdict is None else verdict.probability,
            None if row is None else row.power_fringes,
            None if row is None else row.power_u95_fringes,
            None if row is None else row.sense,
            OtherSurfaces([entry]).teaches(head.folder),
        )

    def _key(self, head: Head) -> str:
        partners = self._named.get(head.partner, []) if head.partner is not None else []
        return _digest(deciding_code(), head.content, *(one.content for one in partners))


class _ListedSurfaces(OtherSurfaces):
    """Surfaces of a list, of which the list tells what is asked."""

    def __init__(self, decisions: Decisions) -> None:
        super().__init__()
        self._decisions = decisions

    def diameter_mm(self, folder: Path) -> float | None:
        head = self._decisions.head(folder)
        return None if head is None else head.diameter_mm

    def teaches(self, folder: Path) -> bool:
        return self._decisions.of(folder).teaches


@dataclass(frozen=True)
class _Step:
    """A next step in words; whether all that it hangs on was still as listed."""

    text: str | None
    current: bool


def _all_steps(jobs: Sequence[_Job]) -> list[_Step]:
    """The next steps, on all cores where there are many."""
    if len(jobs) < _FEW:
        return _steps(jobs)
    # neighbours have nearly the same others, which are gone through once
    size = -(-len(jobs) // cores())
    parts = [jobs[start : start + size] for start in range(0, len(jobs), size)]
    return [step for part in run_many(_steps, parts) for step in part]


def _steps(jobs: Sequence[_Job]) -> list[_Step]:
    others = _Loaded()
    return [others.step(job) for job in jobs]


class _Loaded(OtherSurfaces):
    """Surfaces that are loaded where a step needs them, each once, and what they hold."""

    def __init__(self) -> None:
        super().__init__()
        self._contents: dict[Path, str] = {}

    def step(self, job: _Job) -> _Step:
        try:
            contents = [self._load(folder) for folder in (job.folder, *job.like)]
            like = [self.worked(self.surface(folder)) for folder in job.like]
            entry = self._entries[job.folder]
        except (BadInput, KeyError):  # it is being moved away
            return _Step(None, current=False)
        if entry.surface is None:
            return _Step(None, current=False)
        visits = LoggedVisits(entry.surface, entry.visits, tuple(reversed(like)))
        step = visits.state(last_only=True).next_step
        return _Step(step.text(), tuple(contents) == job.contents)

    def _load(self, folder: Path) -> str:
        if folder not in self._contents:
            entry = own_entry(folder)
            if entry is None:
                raise BadInput(f"{folder}: this folder is not a surface")
            self._entries[folder] = entry
            self._contents[folder] = content_of(entry)
        return self._contents[folder]


def _kept(values: Mapping[str, Any]) -> Decided | None:
    try:
        return Decided(**values)
    except TypeError:
        return None


def _digest(*parts: str) -> str:
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()

"""A simulated life in words: one line, or visit by visit."""

from __future__ import annotations

from shops.life import Seen
from shops.score import Finished


def summary_line(life: Finished) -> str:
    """A life on one line."""
    last = life.seen[-1]
    marks = [
        "false stop" if life.false_stop else "",
        "never stopped" if not life.stopped else "",
        f"pits {last.pits_um:.1f} um" if life.pits_left else "",
        "ran away" if life.ran_away else "",
    ]
    habit = "hasty" if life.hasty else "careful"
    return (
        f"{life.shop:3d},{life.surface:<3d}{life.law:<9}{habit:<8}{life.pits_by:<8}"
        f"{life.job.start:<7}{len(life.seen):3d} visits (oracle {life.oracle.visits:2d})"
        f"{life.minutes:6.0f} min ({life.oracle.minutes:4.0f})"
        f"{last.power:8.2f} of {life.job.tolerance_fringes:4.2f}  {', '.join(filter(None, marks))}"
    ).rstrip()


def life_lines(life: Finished) -> list[str]:
    """A life visit by visit: the truth, what was read, and what the next step said."""
    at = life.job.aperture
    head = (
        f"{at.work}, R {at.radius_mm:.0f} mm, D {at.diameter_mm:.0f} mm, "
        f"{life.job.tolerance_fringes:.2f} fringes of {1e3 * life.job.fringe_um:.0f} nm, "
        f"pits at the start {life.job.damage_um:.0f} um, {', '.join(life.job.stages)} "
        f"from {life.job.start}; came from {life.job.came_from}"
    )
    return [
        summary_line(life),
        head,
        *(
            text
            for i, one in enumerate(life.seen, 1)
            for text in _visit(i, one, life.job.fringe_um)
        ),
    ]


def _visit(number: int, one: Seen, fringe_um: float) -> list[str]:
    work = " + ".join(f"{minutes:.0f} min {top} on top" for top, minutes in one.parts)
    read = "; ".join(f"{source} {power:+.2f} ± {2 * u:.2f}" for source, power, u in one.read)
    wrong = "".join(f" [{b.kind}{'' if b.matters else ', hardly seen'}]" for b in one.blunders)
    told = one.foretold
    interval = ""
    if told.height_um is not None:
        low, high = (end / fringe_um for end in told.height_um)
        interval = f", foretold {low:+.2f} to {high:+.2f}"
    lines = [
        f"{number:3d} {one.clock / 60:6.1f} h  {one.stage or 'no work'} {work}".rstrip(),
        f"      true {one.power:+.2f} (warm {one.shown:+.2f}), pits {one.pits_um:.1f} um; "
        f"read {read}{wrong}{interval}",
        f"      {'' if one.claimed is None else f'inside {one.claimed:.3f}; '}{one.sentence}",
    ]
    return lines + [f"      asked: {kind} of visit {n}" for kind, n in one.asked]

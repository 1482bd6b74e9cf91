"""What was logged from the bench: the same once more is no second visit, another one is refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fringe.errors import BadInput
from fringe.judge.state.visits import Work


@dataclass(frozen=True)
class LoggedOnce:
    """A visit that was logged from the bench, and what was said with it."""

    result: dict[str, Any]
    said: tuple[Work, Mapping[str, Any]]

    def again(self, said: tuple[Work, Mapping[str, Any]]) -> dict[str, Any]:
        """What it came to, for a device that sent it twice; `BadInput` for another one."""
        if said == self.said:
            return self.result
        work = _said_text(*self.said)
        raise BadInput(
            f"nothing was logged: visit {self.result['visit']} of {self.result['surface']} is in "
            f"the record already, with {work}; yours says {_said_text(*said)}. If both are true, "
            "log yours as the next visit"
        )


def _said_text(work: Work, details: Mapping[str, Any]) -> str:
    """What was said with a visit, in a few words."""
    minutes = None if work.minutes is None else f"{work.minutes:g} min"
    on_top = work.on_top and f"{work.on_top} on top"
    remark = details.get("remarks") and f"the remark {details['remarks']!r}"
    words = [one for one in (work.stage, minutes, on_top, remark) if one]
    return ", ".join(words) or "no work"

"""What was logged from the bench: the same once more is no second visit, another one is refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fringe.errors import BadInput
from fringe.judge.state.visits import Work


@dataclass(frozen=True)
class LoggedOnce:
    """A visit that was logged from the bench.

    Attributes
    ----------
    result : mapping
        What the device was told.
    said : str
        All that was said with it, to be compared.
    words : str
        The same in a few words, to be shown.
    """

    result: dict[str, Any]
    said: str
    words: str

    @classmethod
    def of(cls, result: dict[str, Any], work: Work, details: Mapping[str, Any]) -> LoggedOnce:
        """What was logged with these words."""
        return cls(result, *_said(work, details))

    def again(self, work: Work, details: Mapping[str, Any]) -> dict[str, Any]:
        """What it came to, for a device that sent it twice; `BadInput` for another one."""
        said, words = _said(work, details)
        if said == self.said:
            return self.result
        raise BadInput(
            f"nothing was logged: visit {self.result['visit']} of {self.result['surface']} is in "
            f"the record already, with {self.words}; yours says {words}. If both are true, "
            "log yours as the next visit"
        )


def _said(work: Work, details: Mapping[str, Any]) -> tuple[str, str]:
    """What was said with a visit: all of it, and in a few words."""
    minutes = None if work.minutes is None else f"{work.minutes:g} min"
    on_top = work.on_top and f"{work.on_top} on top"
    remark = details.get("remarks") and f"the remark {details['remarks']!r}"
    words = [one for one in (work.stage, minutes, on_top, remark) if one]
    return f"{work!r} {sorted(details.items())!r}", ", ".join(words) or "no work"

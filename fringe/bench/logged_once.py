"""What was logged from the bench: the same once more is no second visit, another one is refused."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from fringe.archive.store.order import survey
from fringe.archive.store.read import open_session
from fringe.archive.store.surface import Surface
from fringe.archive.views.visit_request import VisitRequest
from fringe.errors import BadInput


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
    def of(cls, result: dict[str, Any], request: VisitRequest) -> LoggedOnce:
        """What was logged with these words."""
        return cls(result, *_said(request))

    def again(self, request: VisitRequest) -> dict[str, Any]:
        """What it came to, for a device that sent it twice; `BadInput` for another one."""
        said, words = _said(request)
        if said == self.said:
            return self.result
        raise BadInput(
            f"nothing was logged: visit {self.result['visit']} of {self.result['surface']} is in "
            f"the record already, with {self.words}; yours says {words}. If both are true, "
            "log yours as the next visit"
        )


def was_logged(surface: Surface, visit_id: str) -> bool:
    """Whether the last session of a surface is this visit, its writer killed thereafter."""
    assert surface.folder is not None
    last = max(survey(surface.folder).all_sessions, key=lambda one: one.sequence, default=None)
    return last is not None and open_session(last.place).visit.inputs.get("bench") == visit_id


def _said(request: VisitRequest) -> tuple[str, str]:
    """What was said with a visit: all of it, and in a few words."""
    work = request.work()
    minutes = None if work.minutes is None else f"{work.minutes:g} min"
    on_top = work.on_top and f"{work.on_top} on top"
    remark = request.remark and f"the remark {request.remark!r}"
    words = [one for one in (work.stage, minutes, on_top, remark) if one]
    # whether a question was answered before is no difference
    said = replace(request, yes=False, stage_is=None)
    return repr(said), ", ".join(words) or "no work"

"""What contradicts what in a pair's evidence, and which visits it is about."""

from __future__ import annotations

from dataclasses import dataclass

from fringe.judge.uncertainty.evidence import Estimate


@dataclass(frozen=True)
class Conflict:
    """One contradiction.

    Attributes
    ----------
    kind : {'photograph', 'sense', 'evidence'}
        `photograph`: one photograph was logged as two things that cannot both be; `sense`: it
        would fit if the contact had been at the other place; `evidence`: any other.
    text : str
        In words.
    evidence : tuple of str
        Names of the pieces of evidence.
    visits : tuple of (str, int)
        Surface and number of the visits that it is about.
    """

    kind: str
    text: str
    evidence: tuple[str, ...] = ()
    visits: tuple[tuple[str, int], ...] = ()

    def to_json(self) -> dict[str, object]:
        """Return its keys in `conflicts` of `fringe pair --json`."""
        return {
            "kind": self.kind,
            "text": self.text,
            "evidence": list(self.evidence),
            "visits": [{"surface": name, "visit": number} for name, number in self.visits],
        }


def conflicts_of(found: Estimate) -> tuple[Conflict, ...]:
    """The contradictions that an estimate found, with their visits."""
    named = found.turned or found.suspects
    pieces = [found.judged[i].evidence for i in named]
    return tuple(
        Conflict(
            "sense" if found.turned else "evidence",
            text,
            tuple(one.name for one in pieces),
            tuple((one.surface, one.visit) for one in pieces if one.visit is not None),
        )
        for text in found.contradictions
    )

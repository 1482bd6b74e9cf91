"""The proof of an archive in rows of text."""

from __future__ import annotations

from fringe.archive.transfer.proof import ArchiveProof
from fringe.show.text.lines import how_many


def proof_rows(proof: ArchiveProof) -> list[str]:
    """The answer first, then each problem with what still reads."""
    found, readable = proof.findings, proof.readable
    state = "all as written" if proof.sound else how_many(len(found.problems), "problem")
    trusted = f", {found.trusted} of them as proven before" if found.trusted else ""
    rows = [f"{proof.archive}: {how_many(found.checked, 'file')} checked{trusted}, {state}"]
    for problem in found.problems:
        rows.append(f"  {problem}")
        path = next((p for p in readable if problem.startswith(f"{p}: ")), None)
        if path is not None:
            parts = "; ".join(readable[path]) or "nothing"
            rows.append(f"    still reads: {parts}")
    rows.append(f"History: {proof.digest}")
    if proof.signed is not None:
        one = proof.signed
        rows.append(
            f"Signed by {one.key}, {one.time} by the signer's clock, "
            f"as the history of {one.archive!r}: {one.file}"
        )
    if proof.left:
        rows.append(f"Moved to another archive: {', '.join(proof.left)}")
    if found.leftovers:
        rows.append("Left behind by writers that were stopped, or being written now; no loss:")
        rows += [f"  {path}" for path in found.leftovers]
    if found.unknown:
        rows.append("Not the archive's:")
        rows += [f"  {path}" for path in found.unknown]
    return rows

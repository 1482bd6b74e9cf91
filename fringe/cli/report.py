"""`fringe report`: one page that shows what a surface or a pair is, and on what evidence."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fringe.cli.params import PATH, Written, gathered, json_option, match_options
from fringe.cli.printing import answer, tell

if TYPE_CHECKING:
    from fringe.archive.views.judged_pair import MatchLimits
    from fringe.signatures import AnySigningKey


@click.command("report", short_help="Write a surface's or a pair's report as one page.")
@click.argument("surface")
@click.argument("partner", required=False)
@click.option(
    "--out",
    required=True,
    type=Written(".html", ".htm", ".pdf"),
    metavar="FILE.html|FILE.pdf",
    help="The page to write; an older one of that name is replaced.",
)
@click.option(
    "--paper",
    type=click.Choice(["A4", "letter"], case_sensitive=False),
    default="A4",
    show_default=True,
    help="Of a PDF.",
)
@click.option("--sign", "key", type=PATH, metavar="KEY", help="Sign the page by an SSH key.")
@match_options
@json_option
@gathered(limits="fringe.archive.views.judged_pair.MatchLimits")
def command(
    surface: str,
    partner: str | None,
    limits: MatchLimits,
    out: Path,
    paper: str,
    key: Path | None,
    as_json: bool,
) -> None:
    """Write the report of a surface, or of a pair, as one page that stands by itself.

    SURFACE is ARCHIVE/NAME, or the path of the surface's folder; with PARTNER, in either
    order, the two are a convex and a concave that must match. The page begins with a
    certificate that prints on one sheet: the verdict, the photograph with the fitted fringes,
    the numbers, the rule, and the digest of the history. The annex holds budget, form,
    history and the digests of the evidence. It needs no network. As a .pdf it is printed
    by a browser, Chromium or Chrome, that must be on this machine. The options but --out,
    --paper and --sign are those of `fringe pair`, and say how well the two must match.

    --sign KEY writes a signature beside the page, by an Ed25519 key of OpenSSH with .sig at the
    end of its name, by one of minisign with .minisig (`fringe help record`: how to verify it).

    \b
    Example:
      fringe report 'shop/concave 1' --out report.html
      fringe report 'shop/concave 1' --out report.pdf --paper letter
      fringe report 'shop/convex 1' 'shop/concave 1' --tolerance-power 4 --out pair.html
    """
    from fringe.archive.transfer.signing import write_signature
    from fringe.cli._waiting import steps
    from fringe.files import write_whole
    from fringe.show.reports.named import report_by_name
    from fringe.show.reports.pdf import page_writer

    signing, sig = _signing(key, out)
    written = page_writer(out, paper)
    with steps("report", quiet=as_json) as done:
        found = report_by_name(surface, partner, limits, done)
        data = written(found.report.html)
    write_whole(out, data)
    if signing is not None:
        write_signature(out, data, signing)
    answer(as_json, lambda: found.to_json(out, sig), lambda: [found.row(out, sig)])
    if not as_json:
        tell(found.report.problems)


def _signing(key: Path | None, out: Path) -> tuple[AnySigningKey | None, Path | None]:
    """The key to sign a page by, and where its signature goes, both proved before any work."""
    from fringe.archive.transfer.signing import signature_file
    from fringe.cli.asking import passphrase
    from fringe.files import check_new
    from fringe.signatures import load_signing_key

    if key is None:
        return None, None
    signing = load_signing_key(key, passphrase)
    return signing, check_new(signature_file(out, signing.public), option="--sign")

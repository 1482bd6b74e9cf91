"""The command line: `fringe COMMAND`. One thin module a command, loaded only when it is called."""

from __future__ import annotations

import atexit
import contextlib
import gc
import importlib
import json
import sys
from collections.abc import Iterator, Sequence
from inspect import cleandoc
from typing import Any

import click

from fringe.cli.terminal import write_with_what_it_has
from fringe.errors import BadInput, FringeError

# name: (module, one line of help). The line stands here so that `fringe --help`
# loads no command; a test holds it against the command's own help.
COMMANDS = {
    "read": ("fringe.cli.read", "Read the fringes in a photograph."),
    "sense": ("fringe.cli.sense", "Tell from two photographs where the contact is."),
    "synth": ("fringe.cli.synth", "Render a photograph of fringes with known truth."),
    "sag": ("fringe.cli.sag", "Compare plate and work on a spherometer."),
    "convert": ("fringe.cli.convert", "Convert fringes, radius, sagitta and gap."),
    "tolerance": ("fringe.cli.tolerance", "Turn a tolerance into all its forms."),
    "budget": ("fringe.cli.budget", "Show where a session's uncertainty comes from."),
    "instrument": (
        "fringe.cli.instrument",
        "Keep records of plates, spherometers, cameras, lamps.",
    ),
    "plate": ("fringe.cli.plate", "Keep visits of a plate, and what follows from them."),
    "lamps": ("fringe.cli.lamps", "List the lamps and their wavelengths."),
    "glasses": ("fringe.cli.glasses", "List the glasses and what heat does to them."),
    "surface": ("fringe.cli.surface", "Make a surface to keep a record of."),
    "surfaces": ("fringe.cli.surfaces", "List an archive's surfaces with their state."),
    "log": ("fringe.cli.log", "Log a visit to the bench: photographs, readings, remarks."),
    "progress": ("fringe.cli.progress", "Show a surface's visits, verdicts and next step."),
    "plan": ("fringe.cli.plan", "Foretell the visits, hours and days still to go."),
    "watch": ("fringe.cli.watch", "Read each photograph that arrives in a folder."),
    "bench": ("fringe.cli.bench", "Serve a page for the phone or tablet beside the stand."),
    "settle": ("fringe.cli.settle", "Tell from photographs whether the glass has settled."),
    "turning": (
        "fringe.cli.turning",
        "Tell the work's error from the plate's by turning one of them.",
    ),
    "pair": ("fringe.cli.pair", "Say whether a convex and a concave match."),
    "report": ("fringe.cli.report", "Write a surface's or a pair's report as one page."),
    "check": ("fringe.cli.check", "Prove that an archive is as it was written."),
    "reread": ("fringe.cli.reread", "Compute logged sessions again and list what changed."),
    "export": ("fringe.cli.export", "Write a surface out: table, one file, or photographs."),
    "import": ("fringe.cli.import_", "Bring an exported surface back into an archive."),
    "demo": ("fringe.cli.demo", "Run the shipped example from first contact to matched pair."),
    "help": ("fringe.cli.help", "Explain a topic: the job, refusals, words, the record."),
}


@contextlib.contextmanager
def _known_errors() -> Iterator[None]:
    """Files that cannot be read or written, and output that is full or closed at its other end."""
    try:
        yield
    except OSError as error:
        from fringe.cli.printing import drop_output, system_line

        if error.filename is None:
            drop_output()
        raise BadInput(system_line(error)) from error


class LazyGroup(click.Group):
    """A group whose commands are imported when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Name the commands in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in COMMANDS:
            return None
        command = importlib.import_module(COMMANDS[cmd_name][0]).command
        assert isinstance(command, click.Command)
        return _example_last(command)

    def make_context(
        self,
        info_name: str | None,
        args: list[str],
        parent: click.Context | None = None,
        **extra: Any,
    ) -> click.Context:
        """Parse the words; click ends silently where the help that they ask for cannot be read."""
        with _known_errors():
            return super().make_context(info_name, args, parent, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; what the system refuses is one line like every other foreseen error."""
        with _known_errors():
            code = super().invoke(ctx)
            sys.stdout.flush()
            return code

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


def _example_last(command: click.Command) -> click.Command:
    """Put the example that a docstring ends with below the options, where the eye ends up."""
    about, mark, example = cleandoc(command.help or "").partition("\b\nExample:")
    if mark:
        command.help, command.epilog = about.rstrip(), mark + example
    for inner in command.commands.values() if isinstance(command, click.Group) else ():
        _example_last(inner)
    return command


def _print_version(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    if value and not ctx.resilient_parsing:
        from importlib.metadata import version

        click.echo(f"fringe {version('fringe')}")
        ctx.exit()


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version",
    is_flag=True,
    expose_value=False,
    is_eager=True,
    callback=_print_version,
    help="Print the version and stop.",
)
def cli() -> None:
    """Read contact fringes between a work and its plate, decide, and keep the record.

    \b
    Example:
      fringe demo
    """


_example_last(cli)


def main(args: Sequence[str] | None = None) -> None:
    """Run the command line; every foreseen error is one line and exit status 2."""
    from fringe.threads import start_with_one_thread

    words = list(sys.argv[1:] if args is None else args)
    if args is None:
        # the process ends with the command: what it holds need not be looked through once more
        atexit.register(gc.freeze)
    if sys.stdout is None:
        # the next file that is opened would take its place and get what is printed
        _fail("standard output is closed; let it go to a file, or to /dev/null", words)
    if args is None:
        write_with_what_it_has()
    start_with_one_thread()  # before numpy is loaded
    try:
        # click's own handling prints usage as well; one clear line is easier at the bench
        code = cli.main(words, prog_name="fringe", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        code = _help_alone(error.format_message(), words)
    except click.ClickException as error:
        _fail(_with_hint(error), words)
    except FringeError as error:
        _fail(str(error), words)
    except MemoryError:
        _fail("there is not enough memory for this; take a smaller picture", words)
    except (click.Abort, KeyboardInterrupt):
        _fail("stopped before the end", words, code=130)
    sys.exit(code if isinstance(code, int) else 0)


def _help_alone(text: str, words: list[str]) -> int:
    """Print the help of a command that was typed without what it needs; return the status."""
    try:
        with _known_errors():
            click.echo(text)
    except FringeError as error:
        _fail(str(error), words)
    return 2


def _with_hint(error: click.ClickException) -> str:
    message = error.format_message().removesuffix(".")
    context = getattr(error, "ctx", None)
    if context is not None:
        message += f" (see `{context.command_path} --help`)"
    return message


def _fail(message: str, words: list[str], code: int = 2) -> None:
    line = " ".join(message.split())
    with contextlib.suppress(OSError):  # what cannot be printed is not said twice
        if "--json" in words:
            click.echo(json.dumps({"error": line}))
    with contextlib.suppress(OSError):
        click.echo(f"fringe: {line}", err=True)
    sys.exit(code)

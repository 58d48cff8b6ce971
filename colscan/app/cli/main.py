"""The `colscan` command: its group, and the one place where errors become exit codes."""

from __future__ import annotations

import errno
import io
import os
import signal
import sys
from importlib import import_module
from keyword import iskeyword
from pathlib import Path

import click

from colscan import __version__
from colscan.errors import ColscanError, ExitCode

# The order is that of a trial's life. A command's module is imported when it is called, so that help is
# quick; the line shown here is the first of the command's own help (a test holds them equal).
COMMANDS = {
    "recipe": "Work out what to weigh for a bag, a mix and all bags.",
    "new": "Begin a trial: its plan and its list of bags.",
    "plan": "Draw the bags by lot, and say what they can show.",
    "cards": "Make the bags' cards to print, the mixing sheet or the shelf plan.",
    "practice": "Let the tool read a practice sheet: drawn coverage beside its own.",
    "mix": "Record what was weighed into a mix.",
    "heat": "Record how a heat run went.",
    "map": "Say which bag without a card stands where, on one photo.",
    "scan": "Score the bags in photos and append the scores to the ledger.",
    "watch": "Scan the photos that appear in a folder, until ctrl-C.",
    "rescan": "Score a trial's kept photos anew, and say what moved.",
    "status": "Show where each bag stands and what to do next.",
    "history": "Show one bag's scores, events, verdicts and harvests.",
    "chart": "Draw curves, what became of the bags, risk, yield, or faces.",
    "compare": "Say which treatment is sooner, and whether it can be chance.",
    "risk": "Say what each level may lose, and the highest acceptable one.",
    "yield": "Show what bags and levels gave.",
    "agree": "Hold the scores against what you saw on the same bags.",
    "report": "Write all that a trial tells into one HTML file.",
    "export": "Write data and results as tidy tables with a codebook.",
    "review": "Judge suspect patches on a page in the browser, until ctrl-C.",
    "event": "Record what happened to bags, a shelf or the room.",
    "verdict": "Record what you say of a bag or a suspect patch.",
    "harvest": "Record the weight of a flush.",
    "check": "Look for problems in the ledger.",
    "demo": "Run the bundled trial from photos to chart.",
}


class _CommandsOnDemand(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        name = f"{cmd_name}_" if iskeyword(cmd_name) else cmd_name
        command = getattr(import_module(f"colscan.app.cli.{name}"), name)
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            from colscan.hints import suggest_near

            ctx.fail(f"No such command {args[0]!r}. {suggest_near(args[0], COMMANDS)}".rstrip())
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(
    cls=_CommandsOnDemand,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
@click.version_option(__version__, prog_name="colscan")
@click.pass_context
def colscan(context: click.Context) -> None:
    """Measure from one photo a day how far each bag of a trial has colonized.

    Without arguments, inside a trial's folder: its status.

    \b
    Example:
      colscan demo
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    if context.invoked_subcommand is not None:
        return
    if Path("trial.toml").exists():
        from colscan.app.cli.status import print_status

        print_status(Path())
    else:
        click.echo(context.get_help())


def run() -> None:
    """Run the command line and end the process with its exit code."""
    # numpy reads it when it is imported. On products as small as ours threads wait for each other; and shared
    # by other numbers of threads the last digits of a score would be others.
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A pipe in a code page of old has no room for every letter of a strain's or a bag's name.
            stream.reconfigure(errors="backslashreplace")
    try:
        code = main(sys.argv[1:])
    except KeyboardInterrupt:  # pressed again while the first one was told
        code = ExitCode.INTERRUPTED
    if code == ExitCode.INTERRUPTED:
        # An impatient hand presses once more while the interpreter ends, which would end it by the signal.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    sys.exit(code)


def main(arguments: list[str]) -> int:
    """Return the exit code of a command line, after printing what it has to say.

    Click's own handling is off: it ends with 1 for ctrl-C, which here means a crash. A traceback is shown
    only when the variable COLSCAN_TRACEBACK is set.
    """
    try:
        result = colscan.main(arguments, prog_name="colscan", standalone_mode=False)
        sys.stdout.flush()
        return result if isinstance(result, int) else ExitCode.DONE
    except ColscanError as error:
        click.echo(f"colscan: {error}", err=True)
        return error.exit_code
    except click.ClickException as error:
        error.show()
        return ExitCode.TRIAL
    except (click.Abort, KeyboardInterrupt):
        click.echo("colscan: stopped; whole photos are kept, run the command again to finish", err=True)
        return ExitCode.INTERRUPTED
    except (OSError, SystemExit) as error:
        return _output_failed(error)
    except Exception as error:
        if os.environ.get("COLSCAN_TRACEBACK"):
            raise
        fault = f"colscan: a fault in colscan itself ({type(error).__name__}: {error})."
        click.echo(
            f"{fault}\n  Whole photos are kept. Please report it with the command that you ran.", err=True
        )
        return ExitCode.CRASH


def _output_failed(error: OSError | SystemExit) -> int:
    """What follows when stdout, or a file, can't take what is written; a reader that left is no failure."""
    if isinstance(error, SystemExit) or error.errno == errno.EPIPE or error.filename is None:
        # The interpreter flushes once more at its end, and would complain.
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115 - open to the end
    if isinstance(error, SystemExit) or error.errno == errno.EPIPE:
        return ExitCode.DONE
    where = error.filename or "the output"
    click.echo(f"colscan: {where}: can't be read or written ({error.strerror}).", err=True)
    click.echo("  Make room, or allow reading and writing there; then run the command again.", err=True)
    return ExitCode.LEDGER

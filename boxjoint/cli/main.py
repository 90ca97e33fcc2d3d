"""The command ``boxjoint``: its subcommands, loaded only when one is run, and its exit codes.

Exit 0: done. Exit 2: refused before any proof, a value or a path has to change. Exit 1: a proof
failed, or no such box exists. Messages go to stderr, and never a traceback for what a user can meet.
"""

from __future__ import annotations

import contextlib
import gc
import io
import sys

import click

from boxjoint import __version__
from boxjoint.cli.late import Late
from boxjoint.errors import BoxjointError

__all__ = ["boxjoint", "run"]

#: Subcommands in the sequence in which help shows them: (module, function, one line of help).
COMMANDS: dict[str, tuple[str, str]] = {
    "new": ("boxjoint.cli.box", "Write a commented starter job."),
    "check": ("boxjoint.cli.box", "Solve, compensate and prove a job; write nothing."),
    "build": ("boxjoint.cli.box", "Make and prove every panel of a job, and write the files."),
    "restock": ("boxjoint.cli.box", "Make the same box from a sheet of another thickness."),
    "recut": ("boxjoint.cli.box", "Write one panel again, to mate with those already cut."),
    "sheets": ("boxjoint.cli.sheets", "Nest the panels of an order on sheets, and draw them."),
    "quote": ("boxjoint.cli.sheets", "Reckon the price of an order."),
    "log": ("boxjoint.cli.sheets", "Note what came of an order that was cut."),
    "gauge": ("boxjoint.cli.gauge", "Measure the kerf and choose the fit: draw pieces, read them."),
    "book": ("boxjoint.cli.book", "The shop book: what was measured, and what follows from it."),
}


@click.command(cls=Late, table=COMMANDS, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="boxjoint")
def boxjoint() -> None:
    """Finger-jointed boxes with exact inside sizes, proved before any wood burns.

    \b
    Examples:
      boxjoint new tray.toml
      boxjoint check tray.toml
      boxjoint build tray.toml --out tray
      boxjoint restock tray.toml --thickness 3.2 --out tray-3.2

    \b
    Shell completion, for bash (zsh and fish alike):
      eval "$(_BOXJOINT_COMPLETE=bash_source boxjoint)"
    """


def run() -> None:
    """Run the command line; the entry point of the package."""
    # a short-lived process that makes no garbage worth collecting: 8 % of its time
    gc.disable()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a title may have letters that a pipe has not
            stream.reconfigure(errors="backslashreplace")
    try:
        code = boxjoint.main(prog_name="boxjoint", standalone_mode=False)
    except BoxjointError as error:
        _say(str(error))
        code = error.exit_code
    except click.ClickException as error:
        error.show()
        code = error.exit_code
    except (click.Abort, KeyboardInterrupt):
        _say("stopped; nothing was written.")
        code = 130
    except BrokenPipeError:
        # whoever read our output has gone; there is nobody left to tell
        sys.stderr.close()
        code = 1
    except OSError as error:
        # files report their own problems: what is left is the stream that we print to
        _drop_output()
        reason = (error.strerror or str(error)).lower()
        _say(f"the output cannot be written, {reason}.")
        code = 2
    except MemoryError:
        _say("not enough memory for this job.")
        code = 2
    sys.exit(code if isinstance(code, int) else 0)


def _say(text: str) -> None:
    """Print a message on stderr, where there is one that takes it."""
    with contextlib.suppress(OSError):
        click.echo(f"boxjoint: {text}", err=True)


def _drop_output() -> None:
    """Forget what could not be printed, so that the interpreter does not try again at its end."""
    with contextlib.suppress(OSError, AttributeError):
        sys.stdout.close()


if __name__ == "__main__":
    run()

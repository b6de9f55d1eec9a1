"""The ``hitchgrid`` command: its subcommands, and the one place where errors become a sentence."""

from __future__ import annotations

import errno
import os
import signal
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import typer

from cli import batch, blocks, check, choices, desk, draw, gauge, plan, replan, show, stash
from cli.command import Command, Group, usage
from pipeline.errors import HitchgridError
from pipeline.files.channels import printable

app = typer.Typer(
    name="hitchgrid",
    help="Turn a picture or initials into a friendship-bracelet pattern that can really be tied.",
    cls=Group,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)


for module in (desk, plan, choices, blocks, check, show, draw, batch, gauge, stash, replan):
    app.command(module.__name__.rpartition(".")[2], cls=Command)(module.command)

STOPPED = 130
"""Exit code of a command that Ctrl-C ended."""
UsageFault = typer.BadParameter.__mro__[2]
"""The root of what the command-line parser raises (typer does not export it under a name)."""


def run(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit: 0 done, 1 a fault of ours, 2 an error the user can mend."""
    _open_streams()
    try:
        Path.cwd()
    except OSError:
        sys.exit(_say("the folder you are in is gone. Change to one that exists, and try again.", 2))
    try:
        code = app(arguments, standalone_mode=False)
        if code == STOPPED:  # how typer hands on a Ctrl-C
            raise KeyboardInterrupt
        if sys.stdout is not None:
            sys.stdout.flush()
    except HitchgridError as error:
        sys.exit(_say(str(error), error.exit_code))
    except KeyboardInterrupt:
        sys.exit(_stopped())
    except typer.Abort:
        sys.exit(_say("stopped at a question; nothing was written. Answer it with y, or add --yes.", 2))
    except MemoryError:
        sys.exit(_say("there is not enough memory for this. Try fewer strands or rows.", 2))
    except BrokenPipeError:  # whoever read has read enough, as in: hitchgrid show band/pattern.json | head
        _drop_output()
        sys.exit(0)
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO):
            raise
        _drop_output()
        sys.exit(_say(f"cannot write: {error.strerror}. Free some space on the disk, or write elsewhere.", 2))
    except Exception as error:
        if not isinstance(error, UsageFault):
            raise
        sys.exit(_say(usage(error), 2))
    sys.exit(code if isinstance(code, int) else 0)


def _stopped() -> int:
    """Say that the command stops, undisturbed by a Ctrl-C that comes once more meanwhile."""
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        return _say("stopped; what was written by then is whole.", STOPPED)
    finally:
        if hasattr(signal, "pthread_sigmask") and threading.current_thread() is threading.main_thread():
            before = signal.signal(signal.SIGINT, signal.SIG_IGN)  # drops the one that waits
            signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
            signal.signal(signal.SIGINT, before)


def _open_streams() -> None:
    """Make sure that there is an input, an output and a place for errors, and that none of them can crash.

    Where one was closed, the next file opened would take its number, and what is printed would go there.
    """
    for number, (name, mode) in enumerate((("stdin", "r"), ("stdout", "w"), ("stderr", "w"))):
        try:
            os.fstat(number)
        except OSError:
            nowhere = os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free
            if nowhere != number:
                os.dup2(nowhere, number)
                os.close(nowhere)
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(number, mode, closefd=False))
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal that cannot show ♥ gets a question mark, not a crash
            stream.reconfigure(errors="replace")


def _drop_output() -> None:
    """Send what is still to be printed nowhere, so that the interpreter's own last flush cannot fail."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


LONGEST_SAID, LAST_SAID = 1000, 300


def _say(text: str, code: int) -> int:
    if text:
        line = " ".join(text.split())  # names from outside may hold line ends or orders to the terminal
        if len(line) > LONGEST_SAID:  # a name as long as a page: keep what is wrong and what to try
            line = f"{line[: LONGEST_SAID - LAST_SAID]} … {line[-LAST_SAID:]}"
        with suppress(OSError, ValueError):  # nobody listens
            print("hitchgrid: " + printable(line), file=sys.stderr, flush=True)
    return code

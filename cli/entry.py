"""Where the ``hitchgrid`` command begins: light, so that Ctrl-C finds it listening from the first moment."""

from __future__ import annotations

import gc
import os
import signal
import sys


def run() -> None:
    """Run the command line as a process of its own, and exit."""
    os.environ["PYTHONSAFEPATH"] = "1"  # processes that it starts import nothing from the current folder
    gc.set_threshold(100_000)  # a command ends in seconds: looking for cycles takes a tenth of them
    try:
        from cli.main import run

        run()
    except KeyboardInterrupt:  # while modules are loaded
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        print("hitchgrid: stopped.", file=sys.stderr)
        sys.exit(130)
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # all is written; what is left is tidying up

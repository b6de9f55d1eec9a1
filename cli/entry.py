"""Where the ``hitchgrid`` command begins: light, so that Ctrl-C finds it listening from the first moment."""

from __future__ import annotations

import gc
import os
import signal
import sys

LEAST_BYTES = 400_000_000
"""Address space in which all libraries load with one thread each: measured, with some room. With less they
end in ways that cannot be caught, or never."""
_KEPT = "NUMBA_CACHE_DIR"


def run() -> None:
    """Run the command line as a process of its own, and exit."""
    os.environ["PYTHONSAFEPATH"] = "1"  # processes that it starts import nothing from the current folder
    _set_libraries()
    if _starved():
        print(
            f"hitchgrid: a limit leaves it less than {LEAST_BYTES // 1_000_000} MB of memory, too little to "
            "start. Raise it, as with ulimit -v.",
            file=sys.stderr,
        )
        sys.exit(2)
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


def _set_libraries() -> None:
    """Leave nothing to settings of libraries in the environment: they hold values that end a command
    half-way, or change what is written. Each library works in one thread, so that what is forked has one too.
    """
    for name in list(os.environ):
        if name == "SOURCE_DATE_EPOCH" or (name.startswith("NUMBA_") and name != _KEPT):
            del os.environ[name]
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"


def _starved() -> bool:
    """Whether a limit keeps this process from the memory that it takes to load all libraries."""
    if os.name != "posix":
        return False
    import resource

    limits = [resource.getrlimit(which)[0] for which in (resource.RLIMIT_AS, resource.RLIMIT_DATA)]
    return any(limit != resource.RLIM_INFINITY and limit < LEAST_BYTES for limit in limits)

"""Work on a file that nobody vouches for, in a process that can do little: read its task, and answer.

Before it looks at the file, the process gives up opening files and sockets, more memory than a gigabyte, more
than a few seconds of processor time, writing and dumping. What kills it, hangs it or makes it run wild costs
the one file, never the command.
"""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from pipeline.errors import InputError

MEMORY_BYTES = 1 << 30
SECONDS = 8
"""Of a processor."""
TIMEOUT_S = 30.0
"""Of a clock, on however busy a machine."""
_ROOT = Path(__file__).parents[2]
_MOST_ANSWERED = 200_000_000
_BEGIN = (
    "import sys; sys.dont_write_bytecode = True; sys.path.insert(0, sys.argv[1]); "
    "from pipeline.motif.confined import serve; serve(sys.argv[2])"
)


class Lost(Exception):
    """The process did not answer; ``slow`` if it took too long."""

    def __init__(self, *, slow: bool) -> None:
        super().__init__("took too long" if slow else "ended without an answer")
        self.slow = slow


def ask(worker: str, task: dict[str, Any], data: bytes) -> tuple[dict[str, Any], bytes]:
    """Have the module ``worker`` do a task on ``data``; return the facts and bytes that it answers.

    The module has ``prepare()``, called with all rights to import what it needs, and ``work(task, data)``.
    Raises InputError as the worker did, and :class:`Lost`.
    """
    command = [sys.executable, "-I", "-c", _BEGIN, str(_ROOT), worker]
    head = json.dumps(task).encode() + b"\n"
    quiet = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    try:
        done = subprocess.run(
            command,
            input=head + data,
            capture_output=True,
            timeout=TIMEOUT_S,
            check=False,
            env=quiet,
            start_new_session=True,  # a Ctrl-C may ask for the best so far, and that needs the answer
        )
    except subprocess.TimeoutExpired:
        raise Lost(slow=True) from None
    line, found, rest = done.stdout[:_MOST_ANSWERED].partition(b"\n")
    if done.returncode != 0 or not found:
        raise Lost(slow=done.returncode in (-24, -9))  # SIGXCPU, or the hard limit behind it
    facts = json.loads(line)
    if "refused" in facts:
        raise InputError(*facts["refused"])
    return facts, rest


def serve(worker: str) -> None:
    """Be the process: prepare, give up all rights, work, answer."""
    head, _, data = sys.stdin.buffer.read().partition(b"\n")
    module = importlib.import_module(worker)
    module.prepare()
    _confine()
    try:
        facts, answer = module.work(json.loads(head), data)
    except InputError as error:
        facts, answer = {"refused": [error.message, error.hint]}, b""
    sys.stdout.buffer.write(json.dumps(facts).encode() + b"\n" + answer)
    sys.stdout.buffer.flush()
    os._exit(0)  # nothing is left to tidy up, and what would can no longer open files


def _confine() -> None:
    try:
        import resource
    except ImportError:  # not on Windows; there the guards before and the timeout around remain
        return
    for limit, most in (
        (resource.RLIMIT_AS, MEMORY_BYTES),
        (resource.RLIMIT_CPU, SECONDS),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_NOFILE, 0),
    ):
        resource.setrlimit(limit, (most, most))

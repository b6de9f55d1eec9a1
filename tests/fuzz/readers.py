"""Every reader of the project, in one process, led by coverage: ``python -m tests.fuzz.readers``.

Atheris makes the bytes; ``tests/fuzz/targets.py`` reads them. Another exception than a refusal, too long or
too much memory ends the run with the input that did it. What reaches new code can be kept in
``tests/fuzz/kept``, whose inputs the tests go through.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

KEPT = Path(__file__).with_name("kept")
ROOT = Path(__file__).parents[2]
SECONDS, MEGABYTES = 10, 2_500
"""What one input may take."""


def main() -> int:
    """Run for so many seconds; return 1 if an input broke a reader, which is then told and kept."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz.readers", description=__doc__)
    parser.add_argument("--seconds", type=int, default=600)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", action="store_true", help="keep what reached new code")
    parser.add_argument("--worker", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.worker:
        return _work(given.worker, given.seconds, given.seed)
    from tests.fuzz.targets import seeds

    with tempfile.TemporaryDirectory() as place:
        begun = Path(place) / "begun"
        begun.mkdir()
        for data in seeds():
            (begun / _name(data)).write_bytes(data)
        known = {path.name for path in begun.iterdir()}
        words = ["--worker", str(begun), "--seconds", str(given.seconds), "--seed", str(given.seed)]
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}
        began = time.monotonic()
        command = [sys.executable, "-m", "tests.fuzz.readers", *words]
        done = subprocess.run(command, cwd=place, check=False, env=environment)
        broken = [p for p in Path(place).iterdir() if p.name.startswith(("crash", "timeout", "oom", "slow"))]
        found = [path for path in begun.iterdir() if path.name not in known]
        spent = time.monotonic() - began
        print(f"{spent:.0f} s: {len(found)} inputs reached new code, {len(broken)} broke a reader")
        KEPT.mkdir(exist_ok=True)
        for path in [*broken, *(found if given.keep else ())]:
            (KEPT / _name(path.read_bytes())).write_bytes(path.read_bytes())
        return 1 if broken or done.returncode else 0


def _name(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16]


def _work(place: str, seconds: int, seed: int) -> int:
    import atheris

    with atheris.instrument_imports(include=["pipeline"]):
        from tests.fuzz import targets
    options = {
        "max_total_time": seconds, "max_len": targets.LONGEST, "timeout": SECONDS, "rss_limit_mb": MEGABYTES,
        "seed": seed, "print_final_stats": 1,
    }  # fmt: skip
    atheris.Setup([sys.argv[0], *(f"-{name}={value}" for name, value in options.items()), place], targets.one)
    atheris.Fuzz()
    return 0


if __name__ == "__main__":
    sys.exit(main())

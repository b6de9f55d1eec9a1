"""The real command where the terminal, the locale, the home or the names of files are not as usual."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

from pipeline.band.pattern import title_of
from pipeline.band.reading import read_pattern

ROOT = Path(__file__).parents[2]
HITCHGRID = "import sys; from cli.main import run; run(sys.argv[1:])"
QUICK = ("--grid", "--no-advice", "--effort", "0.01", "--out", "band")
pytestmark = pytest.mark.skipif(os.name != "posix", reason="file names of bytes and /dev/full are POSIX")


def hitchgrid(
    folder: Path, *words: str | bytes, shell: str = "", **environment: str | None
) -> subprocess.CompletedProcess[bytes]:
    """Run the command in ``folder``; ``shell`` is added behind it, such as ``| head -1``."""
    known = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "HOME": str(folder),
        "OMP_NUM_THREADS": "1",
        **environment,
    }
    return subprocess.run(
        ["bash", "-c", f'set -o pipefail; "$@" {shell}', "bash", sys.executable, "-c", HITCHGRID, *words],
        cwd=folder,
        env={key: value for key, value in known.items() if value is not None},
        capture_output=True,
        check=False,
    )


def begun(
    folder: Path, first: str, *words: str | bytes, **environment: str | None
) -> subprocess.CompletedProcess[bytes]:
    """Run the command as it is installed, from its first line; ``first`` is done before."""
    known = {**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(folder), **environment}
    return subprocess.run(
        [sys.executable, "-c", first + "from cli.entry import run; run()", *words],
        cwd=folder,
        env={key: value for key, value in known.items() if value is not None},
        capture_output=True,
        check=False,
        timeout=120,
    )


@pytest.fixture
def flag(tmp_path: Path) -> bytes:
    """A picture whose name has blanks, quotes, a line end, and a byte that is no UTF-8."""
    name = b"fl'ag \"\n\xff.png"
    picture = Image.new("RGB", (6, 4), "#1b2a59")
    picture.paste((224, 96, 74), (2, 0, 4, 4))
    picture.save(tmp_path / os.fsdecode(name))
    return name


def test_a_reader_that_has_read_enough_is_no_failure(tmp_path: Path) -> None:
    done = hitchgrid(tmp_path, "stash", shell="| head -1 >/dev/null")
    assert (done.returncode, done.stderr) == (0, b"")


def test_a_full_disk_behind_the_output_is_told(tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    done = hitchgrid(tmp_path, "stash", shell="> /dev/full")
    assert done.returncode == 2
    assert done.stderr.startswith(b"hitchgrid: cannot write") and done.stderr.count(b"\n") == 1


def test_a_strange_name_in_a_poor_terminal(tmp_path: Path, flag: bytes) -> None:
    poor = {"LC_ALL": "C", "PYTHONIOENCODING": "ascii", "TERM": "dumb", "COLUMNS": "20", "HOME": None}
    done = hitchgrid(tmp_path, "plan", flag, *QUICK, **poor)
    assert (done.returncode, done.stderr) == (0, b"")
    title = read_pattern(tmp_path / "band" / "pattern.json").title
    assert title == title_of(title) and title.startswith("fl'ag")
    refused = hitchgrid(tmp_path, "plan", b"no\x1b[31m" + flag, *QUICK, **poor)
    assert refused.returncode == 2
    assert refused.stderr.count(b"\n") == 1 and b"\x1b" not in refused.stderr


def test_a_home_that_cannot_be_written_to(tmp_path: Path) -> None:
    (tmp_path / "home").write_text("a file")
    words = ("gauge", "quay", "--swatch", "10x40=18mmx60mm", "--used", "40,0=370mm")
    done = hitchgrid(tmp_path, *words, HOME=str(tmp_path / "home"), XDG_DATA_HOME=None)
    assert done.returncode == 2
    assert b"cannot" in done.stderr and done.stderr.count(b"\n") == 1


def test_a_file_size_limit_leaves_the_former_result(tmp_path: Path, flag: bytes) -> None:
    """A disk that fills while the result is written, played by the limit on the size of a file."""
    assert hitchgrid(tmp_path, "plan", flag, *QUICK).returncode == 0
    before = {path.name: path.read_bytes() for path in (tmp_path / "band").iterdir()}
    limited = "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
    limited += "resource.setrlimit(resource.RLIMIT_FSIZE, (9000, 9000)); " + HITCHGRID
    done = subprocess.run(
        [sys.executable, "-c", limited, "plan", flag, *QUICK, "--replace"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        check=False,
    )
    assert done.returncode == 2, done.stderr
    assert b"cannot write" in done.stderr and done.stderr.count(b"\n") == 1
    assert {path.name: path.read_bytes() for path in (tmp_path / "band").iterdir()} == before
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".band")]


LINUX = pytest.mark.skipif(sys.platform != "linux", reason="no limit on memory is kept elsewhere")


@LINUX
@pytest.mark.parametrize("kib", [60_000, 120_000, 200_000, 380_000])
def test_a_limit_on_memory_that_is_too_small_to_start_is_a_sentence(
    kib: int, tmp_path: Path, flag: bytes
) -> None:
    """With so little, libraries end the process in their own ways, or wait for ever."""
    limit = f"import resource; resource.setrlimit(resource.RLIMIT_AS, ({kib * 1024},) * 2); "
    done = begun(tmp_path, limit, "plan", flag, *QUICK)
    assert done.returncode == 2
    assert done.stderr.startswith(b"hitchgrid: a limit leaves it less than") and done.stderr.count(b"\n") == 1
    assert not (tmp_path / "band").exists()


@LINUX
def test_a_limit_on_memory_in_which_it_can_start_is_kept(tmp_path: Path, flag: bytes) -> None:
    limit = "import resource; resource.setrlimit(resource.RLIMIT_AS, (410_000_000,) * 2); "
    done = begun(tmp_path, limit, "plan", flag, *QUICK)
    assert (done.returncode, done.stderr.count(b"\n")) == (2, 1)
    assert b"of memory" in done.stderr and not (tmp_path / "band").exists()


def test_settings_that_libraries_take_from_the_environment_change_nothing(
    tmp_path: Path, flag: bytes
) -> None:
    """What libraries would end with in a traceback, or write into a page: the same bytes come as without."""
    odd = {"SOURCE_DATE_EPOCH": "yesterday", "NUMBA_NUM_THREADS": "0", "NUMBA_DISABLE_JIT": "1"}
    odd |= {"NUMBA_DEBUG": "1", "OMP_NUM_THREADS": "x", "OPENBLAS_NUM_THREADS": "-5"}
    for out, environment in (
        ("plain", dict.fromkeys(odd)),
        ("odd", odd),
        ("date", {"SOURCE_DATE_EPOCH": "5"}),
    ):
        done = begun(
            tmp_path, "", "plan", flag, "--no-advice", "-q", "--effort", "0.01", "--out", out, **environment
        )
        assert (done.returncode, done.stderr) == (0, b"")
    plain = {path.name: path.read_bytes() for path in (tmp_path / "plain").iterdir()}
    for out in ("odd", "date"):
        for name in plain.keys() - {"timings.json", "written.json"}:
            assert (tmp_path / out / name).read_bytes() == plain[name], name

"""Writing one file: whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from pipeline.errors import OutputError
from pipeline.files.lock import hidden_prefix, lock, remove_stale


def write_file(path: Path, content: bytes | str, *, replace: bool = False) -> None:
    """Write one file whole or not at all. Raises OutputError, also when it exists and ``replace`` is off.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write_file(Path(place) / "chart.svg", "<svg/>")
    ...     (Path(place) / "chart.svg").read_text()
    '<svg/>'
    """
    if path.exists() and not replace:
        raise OutputError(f"{path} exists.", "Add --replace, or name another file.")
    path = path.absolute()
    name = None
    try:
        remove_stale(path, "new")
        handle, name = tempfile.mkstemp(prefix=hidden_prefix(path, "new"), dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            lock(handle)
            file.write(content.encode() if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
            Path(name).chmod(0o644)
            Path(name).replace(path)
    except OSError as error:
        raise OutputError(f"cannot write {path}: {error.strerror}.", "Choose another place.") from None
    finally:
        if name is not None:
            Path(name).unlink(missing_ok=True)

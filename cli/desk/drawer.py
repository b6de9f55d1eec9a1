"""The maker's drawer of threads: one CSV list that the commands use too, changed whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from pipeline.drawer.ledger import with_threads
from pipeline.drawer.stash import (
    Stash,
    Thread,
    builtin_stash,
    parse_stash,
    read_stash,
    render_stash,
    thread_of,
)
from pipeline.errors import InputError, OutputError
from pipeline.files.single import write_file
from pipeline.materials.booking import merged


class Threads:
    """The drawer in a file; the built-in palette until something is changed."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def stash(self) -> Stash:
        """What is in the drawer. Raises InputError for a file that is no list of threads."""
        return read_stash(self.path) if self.path.exists() else builtin_stash()

    def put(self, form: Mapping[str, str]) -> None:
        """Put in a thread, or change the one of that name. Raises InputError."""
        metres = form.get("metres", "").strip().replace(",", ".")
        try:
            owned = float(metres) if metres else None
        except ValueError:
            raise InputError(f"{metres[:20]!r} metres is not a number.", "Write it like 8 or 12.5.") from None
        thread = thread_of(form.get("name", ""), form.get("colour", ""), owned, preset=form.get("kind", ""))
        there = self.stash().threads
        former = next((t for t in there if t.name == thread.name), None)
        if former is None:
            self._write((*there, thread))
        else:
            kept = replace(thread, price=former.price, skein_m=former.skein_m or thread.skein_m)
            self._write(tuple(kept if t is former else t for t in there))

    def take_out(self, name: str) -> None:
        """Take a thread out. Raises InputError for one that is not there, or is the last."""
        gone = self.stash().find(name)
        self._write(tuple(t for t in self.stash().threads if t is not gone and t.name != gone.name))

    def bring_in(self, data: bytes) -> int:
        """Add the threads of a CSV list or a GIMP palette; return how many are new."""
        found = parse_stash(data, "the list")
        if not self.path.exists():
            self._write(found.threads)
            return len(found.threads)
        new, _ = merged(self.stash(), found)
        self._keep(with_threads(self.path.read_bytes(), self.path.name, new))
        return len(new)

    def _write(self, threads: tuple[Thread, ...]) -> None:
        self._keep(render_stash(Stash(threads, "the drawer")))

    def _keep(self, content: bytes | str) -> None:
        """Write the list, and keep what stood there beside it."""
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            if self.path.exists():
                write_file(
                    self.path.with_name(self.path.name + ".before"), self.path.read_bytes(), replace=True
                )
        except OSError as error:
            raise OutputError(
                f"cannot write to {self.path.parent}: {error.strerror}.", "Check HOME."
            ) from None
        write_file(self.path, content, replace=True)

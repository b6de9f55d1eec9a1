"""The maker's drawer of threads: one CSV list that the commands use too, changed whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from pipeline.drawer.ledger import with_changed, with_threads, without
from pipeline.drawer.stash import Stash, builtin_stash, parse_stash, read_stash, render_stash, thread_of
from pipeline.errors import InputError
from pipeline.files.single import edit_file, own_folder
from pipeline.materials.booking import merged


class Threads:
    """The drawer in a file; the built-in palette until something is changed."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.changed = False

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
        if former is not None:
            thread = replace(thread, price=former.price, skein_m=former.skein_m or thread.skein_m)
        data, listed = self._data(), self._listed()
        if former is None:
            self._keep(with_threads(listed, self.path.name, (thread,)), data)
        else:
            self._keep(with_changed(listed, self.path.name, thread), data)

    def take_out(self, name: str) -> None:
        """Take a thread out. Raises InputError for one that is not there, or is the last."""
        gone, data = self.stash().find(name), self._data()
        self._keep(without(self._listed(), self.path.name, gone.name), data)

    def bring_in(self, listed: bytes) -> int:
        """Add the threads of a CSV list or a GIMP palette; return how many are new."""
        found = parse_stash(listed, "the list")
        data = self._data()
        if data is None:
            self._keep(render_stash(Stash(found.threads, "the drawer")).encode(), None)
            return len(found.threads)
        new, _ = merged(self.stash(), found)
        self._keep(with_threads(data, self.path.name, new), data)
        return len(new)

    def _data(self) -> bytes | None:
        """What the list holds now, or None while there is none."""
        return self.path.read_bytes() if self.path.exists() else None

    def _listed(self) -> bytes:
        """The list to change: what is there, or the built-in palette."""
        return self._data() or render_stash(builtin_stash()).encode()

    def _keep(self, content: bytes, former: bytes | None) -> None:
        """Write the list if it still is what it was; the first change of a desk keeps a copy beside it."""
        own_folder(self.path.parent)
        edit_file(self.path, content, expected=former, backup=former is not None and not self.changed)
        self.changed = True

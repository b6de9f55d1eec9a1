"""What lies on the desk: one band from its motif to its files, kept as files so that nothing is lost.

A bench is a folder: ``bench.json`` says what was asked and how far it got, beside it lie the motif and what
was drawn and planned. Each file is written whole or not at all and ``bench.json`` last, so that whatever it
names is there. A lock keeps two desks from working on one bench.
"""

from __future__ import annotations

import asyncio
import json
import os
import secrets
import shutil
import time
from collections.abc import Collection, Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from pipeline.errors import OutputError
from pipeline.files.lock import hold
from pipeline.files.single import own_folder, write_file

KEPT = 20
"""Benches that are kept; the oldest others go."""
STATE = "bench.json"


Touches = list[tuple[int, int, str | None]]
"""(picture row, position, thread or None for a free cell), a cell once."""
Changes = list[dict[str, Any]]
"""Suggestions that were taken, as ``tasks.band`` told them."""


@dataclass(slots=True)
class Step:
    """The chosen band at one time: what was changed and touched so far, and the number of its files."""

    number: int
    touches: Touches
    changes: Changes
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass(slots=True)
class State:
    """``asked``: the form's fields, named like the options of ``hitchgrid plan``; ``motif``: what was looked
    at, or empty; ``offers``: facts of the bands to choose from; ``chosen``: the key of one of them; ``steps``
    and ``at``: the chosen band and its touches for undo and redo; ``trial``: the band under a suggestion that
    is being looked at; ``written`` and ``shelf``: the number of the step that was written, and its folder;
    ``view``: how the page shows all this; ``count``: a number for the next thing that gets one.
    """

    asked: dict[str, str] = field(default_factory=dict)
    motif: dict[str, Any] = field(default_factory=dict)
    offers: list[dict[str, Any]] = field(default_factory=list)
    complete: bool = False
    chosen: str = ""
    steps: list[Step] = field(default_factory=list)
    at: int = -1
    trial: Step | None = None
    written: int = -1
    shelf: str = ""
    view: dict[str, str] = field(default_factory=dict)
    count: int = 0

    @property
    def step(self) -> Step | None:
        """The chosen band as it is shown now."""
        return self.steps[self.at] if 0 <= self.at < len(self.steps) else None


class Listener:
    """A page that hears of changes; what it has not fetched yet is said once, so nothing piles up."""

    def __init__(self) -> None:
        self._news: dict[str, Any] = {}
        self._there = asyncio.Event()

    def hear(self, what: str, value: Any) -> None:
        self._news[what] = value
        self._there.set()

    async def news(self, patience_s: float) -> dict[str, Any]:
        """What is new, as soon as there is anything; nothing after so many seconds."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self._there.wait(), patience_s)
        self._there.clear()
        news, self._news = self._news, {}
        return news


class Bench:
    """One bench, its state, the pages that show it and the plan that runs for it."""

    def __init__(self, folder: Path, handle: int | None) -> None:
        self.folder, self._handle = folder, handle
        self.state = _read(folder / STATE)
        self.listeners: set[Listener] = set()
        self.plan: asyncio.Task[None] | None = None
        self.busy: dict[str, Any] = {}
        self.said = ""
        self.turn = asyncio.Lock()
        """Held by the request that changes the bench."""
        self.newest = 0
        """Number of the picture that began to arrive last."""
        self.waiting: list[str] = []
        """Keys of the bands on offer that are being planned."""
        self.planning = False
        """Whether the chosen band is."""

    @property
    def name(self) -> str:
        return self.folder.name

    def keep(self, *panels: str) -> None:
        """Write the state and tell the pages which panels changed. Raises OutputError."""
        self.write(STATE, json.dumps(asdict(self.state), ensure_ascii=False))
        self.tell(*panels)

    def write(self, name: str, content: bytes | str) -> None:
        """Write a file of this bench whole or not at all. Raises OutputError."""
        write_file(self.folder / name, content, replace=True)

    def tell(self, *panels: str) -> None:
        for listener in self.listeners:
            for panel in panels:
                listener.hear(panel, None)

    def say(self, sentence: str) -> None:
        """Say a sentence on the page's status line."""
        self.said = sentence
        for listener in self.listeners:
            listener.hear("said", sentence)

    def progress(self, **news: Any) -> None:
        """Tell how far the plan is; nothing when it has ended."""
        self.busy = self.busy | news if news else {}
        for listener in self.listeners:
            listener.hear("busy", self.busy)

    def number(self) -> int:
        self.state.count += 1
        return self.state.count

    def forget_band(self) -> None:
        """Begin without a chosen band."""
        state = self.state
        state.chosen, state.steps, state.at = "", [], -1
        state.trial, state.written, state.shelf = None, -1, ""

    def clear(self, names: str, but: Collection[str] = ()) -> None:
        """Remove files that no state names any more: those like ``names`` whose stem is not in ``but``."""
        for path in self.folder.glob(names):
            if path.name.split(".")[0] not in but:
                with suppress(OSError):
                    path.unlink()

    def close(self) -> None:
        if self._handle is not None:
            os.close(self._handle)
            self._handle = None


_STATE = TypeAdapter(State)


def _read(path: Path) -> State:
    """The state a file holds; an empty one where there is none, or one of another version."""
    try:
        return _STATE.validate_json(path.read_bytes())
    except (OSError, ValueError):
        return State()


class Benches:
    """All benches of a maker."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.open: dict[str, Bench] = {}
        own_folder(folder, 0o700)

    def of(self, name: str) -> Bench | None:
        """The bench of that name, if it is there and no other desk has it."""
        return self.open.get(name) or next((self._take(p) for p in self._there() if p.name == name), None)

    def free(self) -> Bench:
        """The latest bench that no page shows now, or else a new one."""
        for path in self._there():
            bench = self.of(path.name)
            if bench is not None and not bench.listeners:
                return bench
        return self.new()

    def new(self) -> Bench:
        """An empty bench. Raises OutputError where none can be written."""
        path = self.folder / secrets.token_hex(8)
        try:
            path.mkdir(mode=0o700)
        except OSError as error:
            raise OutputError(
                f"cannot write to {self.folder}: {error.strerror}.", "Free some space."
            ) from None
        bench = self._take(path)
        assert bench is not None
        for old in list(self._there())[KEPT:]:
            former = self.of(old.name)
            if former is not None and not former.listeners and former.plan is None and former is not bench:
                del self.open[former.name]
                former.close()
                shutil.rmtree(old, ignore_errors=True)
        return bench

    def _there(self) -> Iterator[Path]:
        """Folders of benches, the latest first."""

        def touched(path: Path) -> float:
            with suppress(OSError):
                return (path / STATE).stat().st_mtime
            return time.time() if path.name in self.open else 0.0

        return iter(sorted((p for p in self.folder.iterdir() if p.is_dir()), key=touched, reverse=True))

    def _take(self, path: Path) -> Bench | None:
        """Open a bench; None where another desk has it."""
        with suppress(OSError):
            handle = os.open(path / "taken", os.O_RDWR | os.O_CREAT, 0o600)
            if hold(handle) or os.name != "posix":  # elsewhere two desks are not kept apart
                self.open[path.name] = Bench(path, handle)
                return self.open[path.name]
            os.close(handle)
        return None

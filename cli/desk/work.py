"""What happens on a bench, from the motif to the files: which tasks run, in what order, and what is kept."""

from __future__ import annotations

import asyncio
import json
import sys
import traceback
from collections.abc import Coroutine
from pathlib import Path
from typing import Any

from cli.desk.bench import Bench, Changes, Step, Touches
from cli.desk.crew import Crew
from pipeline.errors import HitchgridError, InputError, OutputError
from pipeline.files.folder import folder_name

MOST_STEPS = 100
"""Touches that can be undone."""
SAME_CELLS = ("switching rows", "ease", "joins")
"""Suggestions that leave the cells where they are, so that touches still mean the same."""
ABOUT_MOTIF = (
    "picture", "letters", "height", "across", "letter-threads", "background", "crop", "turn", "mirror",
    "trim", "reduce",
)  # fmt: skip
"""Options that change how the motif looks."""


class Work:
    """The work on all benches. ``stash``: the drawer's file, once there is one; ``output``: the shelf."""

    def __init__(self, crew: Crew, stash: Path, output: Path) -> None:
        self.crew, self.stash, self.output = crew, stash, output

    # ------------------------------------------------------------ one plan at a time

    async def stop(self, bench: Bench) -> None:
        """End what runs for this bench, at once."""
        plan, bench.plan = bench.plan, None
        if plan is not None:
            plan.cancel()
            await asyncio.wait([plan])
        bench.waiting = []
        bench.progress()

    async def begin(self, bench: Bench, work: Coroutine[Any, Any, None]) -> None:
        """Let ``work`` take the place of what runs for this bench."""
        try:
            await self.stop(bench)
        except BaseException:
            work.close()
            raise
        bench.say("")
        bench.plan = asyncio.create_task(self._watched(bench, work))

    async def _watched(self, bench: Bench, work: Coroutine[Any, Any, None]) -> None:
        try:
            await work
        except HitchgridError as error:
            bench.say(named(str(error), bench))
        except OSError as error:
            bench.say(f"The disk refuses: {error.strerror}. Free some space, then go on.")
        except Exception as error:  # a fault of ours keeps its traceback
            print("".join(traceback.format_exception(error)), file=sys.stderr)
            bench.say("Something went wrong in the program itself; the terminal shows where.")
        bench.plan, bench.waiting = None, []
        bench.progress()
        bench.tell("sheet", "band")

    def resume(self, bench: Bench) -> None:
        """Go on where the desk stopped, if it stopped in the middle of something."""
        state = bench.state
        if bench.plan is not None or not state.motif:
            return
        if state.chosen and state.step is None:
            bench.plan = asyncio.create_task(self._watched(bench, self._take(bench, [], [])))
        elif not state.complete and not state.chosen:
            bench.plan = asyncio.create_task(self._watched(bench, self._sheet(bench)))

    # ------------------------------------------------------------ motif and sheet

    def fields(self, bench: Bench) -> dict[str, str]:
        """What was asked, and from which threads."""
        asked = {name: text for name, text in bench.state.asked.items() if text}
        return asked | ({"stash": str(self.stash)} if self.stash.exists() else {})

    async def ask(self, bench: Bench, fields: dict[str, str]) -> None:
        """Take new fields of the form; what they change is looked at and planned again."""
        before = dict(bench.state.asked)
        after = {name: text for name, text in (before | fields).items() if text}
        if after == before:
            return
        trial = after | ({"stash": str(self.stash)} if self.stash.exists() else {})
        there = trial.get("letters") or trial.get("picture")
        if there and any(before.get(name) != after.get(name) for name in ABOUT_MOTIF):
            await self._look(bench, trial)
        bench.state.asked = after
        await self.sheet(bench)

    async def _look(self, bench: Bench, fields: dict[str, str]) -> None:
        found = await self.crew.run("look", str(bench.folder), fields, small=True)
        number = bench.number()
        for part in ("whole", "taken"):
            if part in found:
                bench.write(f"{part}-{number}.png", found.pop(part))
        bench.state.motif = found | {"number": number}

    async def sheet(self, bench: Bench) -> None:
        """Plan the bands to choose from anew."""
        state = bench.state
        bench.forget_band()
        state.offers, state.complete = [], False
        bench.keep("motif", "fit", "sheet", "band")
        if state.motif:
            await self.begin(bench, self._sheet(bench))

    async def _sheet(self, bench: Bench) -> None:
        state = bench.state
        fields = self.fields(bench)
        bench.progress(stage="looking for bands to choose from", done=0.0, note="")
        asked = await self.crew.run("offer", str(bench.folder), fields, small=True)
        if not asked:
            raise InputError("no band of this fits.", "Allow more strands, or smaller letters.")
        bench.waiting = [key for key, _ in asked]
        bench.tell("sheet")
        drawn: list[bytes] = []
        first_error: list[HitchgridError] = []
        state.offers = []

        async def one(key: str, offer: bytes) -> None:
            try:
                choice, picture, facts = await self.crew.run("draw", offer)
                facts["number"] = bench.number()
                bench.write(f"offer-{facts['number']}.png", picture)
                state.offers.append(facts)
                bench.waiting.remove(key)
                bench.keep("sheet")
            except HitchgridError as error:
                first_error.append(error)
                return
            drawn.append(choice)
            bench.progress(done=len(drawn) / len(asked), note=f"{len(drawn)} of {len(asked)} drawn")

        async with asyncio.TaskGroup() as group:
            for key, offer in asked:
                group.create_task(one(key, offer))
        bench.waiting = []
        if not drawn and first_error:
            raise first_error[0]
        best = await self.crew.run("sift", drawn, small=True)
        for facts in state.offers:  # they stay in sight: what a maker just looked at does not vanish
            facts["beaten"] = facts["key"] not in best
        state.complete = True
        bench.keep("sheet")
        bench.clear("offer-*", but={f"offer-{f['number']}" for f in state.offers})

    # ------------------------------------------------------------ the chosen band

    async def choose(self, bench: Bench, key: str) -> None:
        """Plan one of the bands on offer thoroughly."""
        state = bench.state
        if key not in {facts["key"] for facts in state.offers}:
            raise InputError("that band is no longer on the sheet.", "Choose one of those that are.")
        await self.stop(bench)
        bench.forget_band()
        state.chosen = key
        bench.keep("sheet", "band")
        await self.begin(bench, self._take(bench, [], []))

    async def touch(self, bench: Bench, cells: list[tuple[int, int]], thread: str | None) -> None:
        """Give cells another thread, or free them, and plan the band again in haste."""
        step = self._present(bench)
        touches = {(row, position): name for row, position, name in step.touches}
        touches |= dict.fromkeys(cells, thread)
        kept = [(row, position, name) for (row, position), name in sorted(touches.items())]
        await self.begin(bench, self._take(bench, kept, step.changes, hasty=True))

    async def attempt(self, bench: Bench, index: int) -> None:
        """Plan the band in haste under one of the suggestions, to be looked at."""
        step = self._present(bench)
        suggested = step.facts["help"]
        if not 0 <= index < len(suggested):
            raise InputError("there is no such suggestion.", "Load the page again.")
        bench.state.trial = None
        change = suggested[index]["change"]
        touches = step.touches if change["kind"] in SAME_CELLS else []
        await self.begin(bench, self._attempt(bench, touches, [*step.changes, change]))

    async def decide(self, bench: Bench, take: bool) -> None:
        """Take the suggestion that was tried, and plan it thoroughly; or leave it."""
        trial, bench.state.trial = bench.state.trial, None
        bench.keep("band")
        if take and trial is not None:
            await self.begin(bench, self._take(bench, trial.touches, trial.changes))

    async def step(self, bench: Bench, by: int) -> None:
        """Undo or redo."""
        state = bench.state
        if not 0 <= state.at + by < len(state.steps):
            raise InputError("there is nothing to undo or redo.", "Point at cells to touch them up.")
        await self.stop(bench)
        state.at, state.trial = state.at + by, None
        bench.keep("band")
        await self.begin(bench, self._write(bench))

    @staticmethod
    def _present(bench: Bench) -> Step:
        if bench.state.step is None:
            raise InputError("there is no band yet.", "Choose one, and wait until it is planned.")
        return bench.state.step

    async def _take(self, bench: Bench, touches: Touches, changes: Changes, *, hasty: bool = False) -> None:
        """Plan the chosen band and make it the present one; then write its files."""
        state = bench.state
        step = await self._planned(bench, touches, changes, hasty=hasty)
        state.steps = [*state.steps[: state.at + 1], step][-MOST_STEPS:]
        state.at, state.trial = len(state.steps) - 1, None
        bench.keep("band", "sheet")
        bench.clear("band-*", but={f"band-{s.number}" for s in state.steps})
        await self._write(bench)

    async def _attempt(self, bench: Bench, touches: Touches, changes: Changes) -> None:
        bench.state.trial = await self._planned(bench, touches, changes, hasty=True)
        bench.keep("band")

    async def _planned(self, bench: Bench, touches: Touches, changes: Changes, *, hasty: bool) -> Step:
        bench.progress(stage="planning the band", done=0.0, note="")
        bench.planning = True
        bench.tell("band")
        try:
            found = await self.crew.run(
                "band",
                str(bench.folder),
                self.fields(bench),
                bench.state.chosen,
                touches,
                changes,
                hasty,
                hear=lambda kind, value: bench.progress(**value),
                small=hasty,
            )
        finally:
            bench.planning = False
            bench.tell("band")
        step = Step(bench.number(), touches, changes, found.pop("facts"))
        for ending, content in found.items():
            bench.write(f"band-{step.number}.{ending}", content)
        return step

    # ------------------------------------------------------------ taking it away

    async def _write(self, bench: Bench) -> None:
        """Write the band's files to the shelf: a folder of its own, replaced when the band is touched."""
        state = bench.state
        step = state.step
        if step is None or state.written == step.number:
            return
        if not state.shelf:
            state.shelf = self._new_folder(state.motif["title"])
            bench.keep()
        await self.crew.run(
            "write",
            str(bench.folder),
            step.number,
            self.fields(bench),
            step.facts["lies"],
            str(self.output / state.shelf),
            hear=lambda kind, value: bench.progress(**value),
            small=True,
        )
        state.written = step.number
        bench.keep("band", "shelf")

    def _new_folder(self, title: str) -> str:
        """Make a folder for a result that nobody else has."""
        name = folder_name(title)
        for number in range(1, 10_000):
            folder = self.output / (name if number == 1 else f"{name}-{number}")
            try:
                folder.mkdir(parents=True)
            except FileExistsError:
                continue
            return folder.name
        raise OutputError(f"{self.output} is full of {name}.", "Clear the shelf a little.")

    async def written(self, bench: Bench) -> Path:
        """The folder with the files of the band as it is shown now, once they are written."""
        if bench.state.step is None:
            raise InputError(
                "there is no band to take away yet.", "Choose one, and wait until it is planned."
            )
        while bench.state.written != bench.state.step.number:
            if bench.plan is None:
                await self.begin(bench, self._write(bench))
            plan = bench.plan
            assert plan is not None
            await asyncio.shield(asyncio.wait([plan]))
            if bench.state.step is None or (bench.plan is None and bench.said):
                raise InputError(bench.said or "the band was put back.", "Look at the page.")
        return self.output / bench.state.shelf


def cells_of(text: str) -> list[tuple[int, int]]:
    """Read the cells of a touch, ``[[picture row, position], …]``. Raises InputError."""
    try:
        cells = [(int(r), int(p)) for r, p in json.loads(text)]
    except (ValueError, TypeError, OverflowError, RecursionError):
        raise InputError("the cells cannot be read.", "Load the page again.") from None
    if not cells or len(cells) > 5000 or not all(0 <= n < 10_000 for cell in cells for n in cell):
        raise InputError("no cell, or far too many.", "Point at the cells to touch up.")
    return cells


def named(sentence: str, bench: Bench) -> str:
    """The sentence with the picture called as the maker's own file is, not as ours on the bench."""
    picture, title = (bench.state.asked.get(name) for name in ("picture", "title"))
    if not picture or not title:
        return sentence
    return sentence.replace(str(bench.folder / picture), title).replace(picture, title)

"""The desk's requests: each reads what came, has it done, and answers with a piece of the page or words."""

from __future__ import annotations

import functools
import json
import re
from collections import defaultdict
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import (
    FileResponse,
    HTMLResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from cli.desk.bench import Bench, Benches, Listener
from cli.desk.drawer import Threads
from cli.desk.guard import form_of, take_in
from cli.desk.shelf import Shelf, archive, file_of, nothing
from cli.desk.work import Work, cells_of
from pipeline.band.pattern import title_of
from pipeline.drawer.presets import PRESETS
from pipeline.drawer.stash import spell_names, split_names
from pipeline.errors import HitchgridError, InputError, OutputError
from pipeline.literals import END_STYLES, TAIL_STYLES, plural
from pipeline.materials.fit import SIZES

PAGE = Path(__file__).parent / "page"
WRITERS = Path(__file__).parents[2] / "pipeline" / "writers"
PANELS = ("motif", "drawer", "fit", "sheet", "band", "shelf")
MOST_BYTES, LIST_BYTES = 64_000_000, 1_000_000
STREAMS = 40
"""Pages that may listen at once."""
FIELDS = (
    "letters", "height", "across", "letter-threads", "background", "crop", "turn", "mirror", "trim", "reduce",
    "threads", "colours", "ground", "wrist", "room", "left-handed", "start", "finish", "taper", "tail",
    "gauge", "strands", "worked", "hand-overs", "border", "title",
)  # fmt: skip
"""Options that the form has; files are never among them."""

NO_MOTIF = dict.fromkeys(
    ("letters", "across", "height", "picture", "crop", "turn", "mirror", "background"), ""
)
"""A new motif begins without what was said of the former one."""
SAMPLE_FOLDER = Path(__file__).parents[2] / "sample_images"
SAMPLES = {p.stem.replace("_", " "): p for p in SAMPLE_FOLDER.glob("*.png")} if SAMPLE_FOLDER.is_dir() else {}
"""Pictures to begin with, where the program runs from its checkout."""
ORDERS = ("closest", "easiest", "quickest")
FILES = (
    ("sheet.pdf", "Sheet to print"),
    ("worksheet.html", "Worksheet to tie from"),
    ("chart.png", "Chart"),
    ("cut-list.csv", "Cut list"),
    ("report.html", "Report"),
    ("pattern.json", "Pattern for programs"),
)

Answer = Callable[[Request], Awaitable[Response]]


class Desk:
    """What requests share: benches, drawer, shelf and the work."""

    def __init__(self, benches: Benches, threads: Threads, work: Work, ending: Callable[[], bool]) -> None:
        self.benches, self.threads, self.work, self.ending = benches, threads, work, ending
        self.shelf = Shelf(work.output, threads.path, benches.folder, work.crew, self._tell_all)
        self.streams = 0
        self.pages = Environment(
            loader=FileSystemLoader(PAGE), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
            lstrip_blocks=True,
        )  # fmt: skip
        self.pages.filters["pairs"] = lambda words: [(word, word) for word in words]

    # ------------------------------------------------------------ pages

    async def landing(self, request: Request) -> Response:
        return HTMLResponse(self.pages.get_template("landing.html").render())

    async def resume(self, request: Request) -> Response:
        return RedirectResponse(f"/bench/{self.benches.free().name}", 303)

    async def another(self, request: Request) -> Response:
        return RedirectResponse(f"/bench/{self.benches.new().name}", 303)

    async def page(self, request: Request) -> Response:
        bench = self.benches.of(request.path_params["bench"])
        if bench is None:
            return RedirectResponse("/resume", 303)
        self.work.resume(bench)
        panels = {panel: self.panel_of(bench, panel) for panel in PANELS}
        return HTMLResponse(self.pages.get_template("desk.html").render(bench=bench, panels=panels))

    async def panel(self, request: Request, bench: Bench) -> Response:
        name = request.path_params["panel"]
        return HTMLResponse(self.panel_of(bench, name)) if name in PANELS else nothing()

    def panel_of(self, bench: Bench, panel: str) -> str:
        """One piece of the page as HTML."""
        state = bench.state
        values: dict[str, Any] = {
            "state": state,
            "asked": defaultdict(str, state.asked),
            "view": defaultdict(str, state.view),
            "here": f"/bench/{bench.name}",
            "busy": bench.plan is not None,
            "planning": bench.planning,
        }
        if panel == "motif":
            values["samples"] = sorted(SAMPLES)
        elif panel in ("drawer", "band"):
            try:
                values |= {"threads": self.threads.stash().threads, "refused": ""}
            except HitchgridError as error:
                values |= {"threads": (), "refused": str(error)}
            ticked = {*split_names(state.asked.get("threads", ""))}
            values |= {"ticked": ticked, "file": self.threads.path, "kinds": list(PRESETS), "files": FILES}
        elif panel == "sheet":
            by = state.view.get("sort", "")
            by = by if by in ORDERS else "closest"
            beside = state.view.get("beside", "").split("\n")
            values |= {
                "offers": sorted(state.offers, key=lambda f: (f["beaten"], f[by])),
                "orders": ORDERS,
                "beside": beside,
            }
            drawn = {facts["key"] for facts in state.offers}
            values["waiting"] = [key for key in bench.waiting if key not in drawn]
        elif panel == "fit":
            values |= {
                "sizes": [size.name for size in SIZES],
                "kinds": list(PRESETS),
                "starts": END_STYLES,
                "finishes": TAIL_STYLES,
            }
            values["swatches"] = self.swatches()
        elif panel == "shelf":
            values |= {"shelved": self.shelf.bands(), "booked": self.shelf.booked()}
        return self.pages.get_template(f"{panel}.html").render(values)

    async def events(self, request: Request, bench: Bench) -> Response:
        if self.streams >= STREAMS:
            return PlainTextResponse("Too many pages are open at once.", 503)
        return StreamingResponse(self._stream(bench), media_type="text/event-stream")

    async def _stream(self, bench: Bench) -> AsyncIterator[str]:
        listener = Listener()
        bench.listeners.add(listener)
        self.streams += 1
        listener.hear("busy", bench.busy)
        listener.hear("said", bench.said)
        quiet = 0
        try:
            while not self.ending():
                news = await listener.news(1.0)
                quiet = 0 if news else quiet + 1
                if news:
                    yield f"data: {json.dumps(news)}\n\n"
                elif quiet % 15 == 0:
                    yield ": still here\n\n"
        finally:
            self.streams -= 1
            bench.listeners.discard(listener)

    # ------------------------------------------------------------ the motif and what is asked

    async def motif(self, request: Request, bench: Bench) -> None:
        """Take a picture in: the body is the file, whatever its name was is only a title."""
        number = bench.newest = bench.number()
        path = bench.folder / f"motif-{number}"
        try:
            await take_in(request, path, MOST_BYTES)
            title = title_of(
                re.sub(r"\.[A-Za-z]{2,5}$", "", request.query_params.get("name", "")).replace("_", " ")
            )
            async with bench.turn:
                if number < bench.newest:
                    raise InputError("another picture came after this one.", "Choose it again.")
                await self.work.ask(bench, NO_MOTIF | {"picture": path.name, "title": title})
                for older in bench.folder.glob("motif-*"):
                    if int(older.name[6:]) < number:
                        older.unlink(missing_ok=True)
        except BaseException:
            path.unlink(missing_ok=True)
            raise

    async def ask(self, request: Request, bench: Bench) -> None:
        """Take fields of the form. Letters take the place of a picture."""
        form = await form_of(request)
        fields = {name: text for name, text in form.items() if name in FIELDS}
        if form.get("sample"):
            sample = SAMPLES.get(form["sample"])
            if sample is None or not sample.exists():
                raise InputError("there is no such sample.", "Choose another.")
            name = f"motif-{bench.number()}"
            bench.write(name, sample.read_bytes())
            fields |= NO_MOTIF | {"picture": name, "title": form["sample"]}
        elif "letters" in fields:
            fields |= {"picture": "", "crop": "", "background": "", "title": fields["letters"]}
        if "threads" in fields:
            fields["threads"] = spell_names(name for name in fields["threads"].split("\n") if name)
        await self.work.ask(bench, fields)

    async def view(self, request: Request, bench: Bench) -> None:
        form = await form_of(request)
        bench.state.view |= {name: form[name] for name in ("sort", "beside", "lie") if name in form}
        bench.keep("sheet", "band")

    # ------------------------------------------------------------ the chosen band

    async def choose(self, request: Request, bench: Bench) -> None:
        await self.work.choose(bench, (await form_of(request)).get("key", ""))

    async def stop(self, request: Request, bench: Bench) -> None:
        await self.work.stop(bench)
        bench.say("Stopped.")

    async def again(self, request: Request, bench: Bench) -> None:
        await self.work.sheet(bench)

    async def touch(self, request: Request, bench: Bench) -> None:
        form = await form_of(request)
        thread = form.get("thread") or None
        if thread is not None:
            thread = self.threads.stash().find(thread).name
        await self.work.touch(bench, cells_of(form.get("cells", "")), thread)

    async def attempt(self, request: Request, bench: Bench) -> None:
        index = (await form_of(request)).get("index", "")
        known = index.isascii() and index.isdecimal() and len(index) < 6
        await self.work.attempt(bench, int(index) if known else -1)

    async def decide(self, request: Request, bench: Bench) -> None:
        await self.work.decide(bench, (await form_of(request)).get("take") == "yes")

    async def step(self, request: Request, bench: Bench) -> None:
        await self.work.step(bench, -1 if (await form_of(request)).get("way") == "undo" else 1)

    async def drawn(self, request: Request, bench: Bench) -> Response:
        """A picture or the cells of this bench, by the number that the state gave it."""
        name = request.path_params["name"]
        path = bench.folder / name
        if (
            not re.fullmatch(r"(whole|taken|offer|band)-\d{1,9}\.(png|cells\.json)", name)
            or not path.is_file()
        ):
            return nothing()
        return FileResponse(path, headers={"cache-control": "private, max-age=86400, immutable"})

    async def archive(self, request: Request, bench: Bench) -> Response:
        return await archive(await self.work.written(bench))

    async def file(self, request: Request, bench: Bench) -> Response:
        return file_of(await self.work.written(bench), request.path_params["name"])

    # ------------------------------------------------------------ the drawer

    async def drawer(self, request: Request) -> Response:
        """Put in or change a thread, or take one out."""
        form = await form_of(request)
        if form.get("do") == "out":
            self.threads.take_out(form.get("name", ""))
        else:
            self.threads.put(form)
        self._tell_all("drawer", "band")
        return Response(status_code=204)

    async def bring_in(self, request: Request) -> Response:
        path = self.benches.folder / f"list-{id(request)}"
        try:
            await take_in(request, path, LIST_BYTES)
            new = self.threads.bring_in(path.read_bytes())
        finally:
            path.unlink(missing_ok=True)
        self._tell_all("drawer", "band")
        return PlainTextResponse(f"{plural(new, 'thread')} put in the drawer.")

    def swatches(self) -> list[str]:
        """Names of the maker's measured swatches."""
        from pipeline.materials.gauge import saved

        with suppress(HitchgridError):
            return sorted(saved())
        return []

    async def gauge(self, request: Request) -> Response:
        """Measure a swatch."""
        said = await self.work.crew.run("measure", await form_of(request), small=True)
        self._tell_all("fit")
        return PlainTextResponse(said)

    def _tell_all(self, *panels: str) -> None:
        for bench in self.benches.open.values():
            bench.tell(*panels)

    # ------------------------------------------------------------ putting it together

    def of_bench(self, answer: Callable[[Request, Bench], Awaitable[Response | None]]) -> Answer:
        @functools.wraps(answer)
        async def found(request: Request) -> Response:
            bench = self.benches.of(request.path_params["bench"])
            if bench is None:
                return nothing()
            if request.method == "GET" or answer.__name__ in ("motif", "stop"):
                return await answer(request, bench) or Response(status_code=204)
            async with bench.turn:
                return await answer(request, bench) or Response(status_code=204)

        return found

    def app(self) -> Starlette:
        b = self.of_bench
        at = "/bench/{bench:str}"
        routes = [
            Route("/", self.landing),
            Route("/resume", self.resume),
            Route("/another", self.another, methods=["POST"]),
            Route(at, self.page),
            Route(at + "/panel/{panel:str}", b(self.panel)),
            Route(at + "/events", b(self.events)),
            Route(at + "/drawn/{name:str}", b(self.drawn)),
            Route(at + "/archive", b(self.archive)),
            Route(at + "/file/{name:str}", b(self.file)),
            *self.shelf.routes(),
            Route("/gauge", self.gauge, methods=["POST"]),
            Route("/drawer", self.drawer, methods=["POST"]),
            Route("/drawer/list", self.bring_in, methods=["POST"]),
            Route("/page.css", lambda request: FileResponse(WRITERS / "page.css")),
            Mount("/static", StaticFiles(directory=PAGE / "static")),
        ]
        for name in ("motif", "ask", "view", "choose", "stop", "again", "touch", "attempt", "decide", "step"):
            routes.append(Route(f"{at}/{name}", b(getattr(self, name)), methods=["POST"]))
        app = Starlette(routes=routes, exception_handlers={HitchgridError: _refusal, OSError: _disk})
        app.router.redirect_slashes = False
        return app


async def _refusal(request: Request, error: Exception) -> Response:
    return PlainTextResponse(str(error), 507 if isinstance(error, OutputError) else 422)


async def _disk(request: Request, error: Exception) -> Response:
    why = error.strerror if isinstance(error, OSError) else error
    return PlainTextResponse(f"The disk refuses: {why}. Free some space, then try again.", 507)

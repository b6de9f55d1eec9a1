"""The shelf: finished bands in the output folder, their files, and what is done with them later."""

from __future__ import annotations

import asyncio
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import Route

from cli.desk.crew import Crew
from cli.desk.guard import form_of
from pipeline.band.pattern import title_of
from pipeline.errors import HitchgridError, InputError
from pipeline.files import manifest
from pipeline.files.single import write_file

BOOKED = "booked.json"
SHOWN_HERE = (".png", ".pdf")
"""Files that the browser may show in its window; others, which might run scripts in our name, it saves."""


@dataclass
class Shelved:
    """A finished band in the output folder; ``key`` stands for its name in addresses."""

    key: str
    path: Path
    title: str
    files: tuple[str, ...]


class Shelf:
    """The output folder. ``stash`` is the drawer's file, ``kept`` where the desk keeps what it must remember;
    ``tell`` hears which panels of all pages changed.
    """

    def __init__(self, output: Path, stash: Path, kept: Path, crew: Crew, tell: Callable[..., None]) -> None:
        self.output, self._stash, self._kept, self._crew, self._tell = output, stash, kept, crew, tell
        self._booking = asyncio.Lock()

    def routes(self) -> Iterator[Route]:
        """The requests that are answered here."""
        at = "/shelf/{key:str}"
        yield Route(f"{at}/archive", self.archive)
        yield Route(f"{at}/file/{{name:str}}", self.file)
        yield Route(f"{at}/left", self.left)
        yield Route(f"{at}/resume", self.resume, methods=["POST"])
        yield Route(f"{at}/book", self.book, methods=["POST"])

    def bands(self) -> list[Shelved]:
        """Finished bands, the latest first."""
        found = []
        with suppress(OSError):
            folders = [p for p in self.output.iterdir() if p.is_dir() and not p.name.startswith(".")]
            for path in sorted(folders, key=lambda p: p.stat().st_mtime, reverse=True)[:200]:
                files = files_of(path)
                if "pattern.json" in files:
                    key = hashlib.sha256(path.name.encode("utf-8", "surrogateescape")).hexdigest()[:16]
                    found.append(Shelved(key, path, title_of(path.name.replace("-", " ")), files))
        return found

    def _asked(self, request: Request) -> Path:
        key = request.path_params["key"]
        path = next((band.path for band in self.bands() if band.key == key), None)
        if path is None:
            raise InputError("that band is not on the shelf.", "Load the page again.")
        return path

    async def archive(self, request: Request) -> Response:
        return await archive(self._asked(request))

    async def file(self, request: Request) -> Response:
        return file_of(self._asked(request), request.path_params["name"])

    async def left(self, request: Request) -> Response:
        """All files of a band for the left hand."""
        folder = self._asked(request)
        files = await self._crew.run("left_handed", str(folder), small=True)
        return zipped(f"{folder.name}-left-handed", files)

    async def resume(self, request: Request) -> Response:
        form = await form_of(request)
        return PlainTextResponse(await self._crew.run("resume", str(self._asked(request)), form, small=True))

    async def book(self, request: Request) -> Response:
        """Book the band's thread off the drawer, or put it back; asked twice, that is done once."""
        folder, back = self._asked(request), (await form_of(request)).get("way") == "back"
        async with self._booking:
            took = self.booked()
            if back == (folder.name in took):
                stash, before = str(self._stash), took.pop(folder.name, None)
                now = await self._crew.run("book", stash, str(folder), before, small=True)
                kept = json.dumps(took | ({folder.name: now} if now else {}))
                write_file(self._kept / BOOKED, kept, replace=True)
        self._tell("drawer", "shelf")
        return PlainTextResponse("Put back in the drawer." if back else "Booked off the drawer.")

    def booked(self) -> dict[str, dict[str, float]]:
        """What the bands on the shelf took from the drawer, by folder and thread."""
        with suppress(OSError, ValueError):
            found = json.loads((self._kept / BOOKED).read_text(encoding="utf-8"))
            return found if isinstance(found, dict) else {}
        return {}


def nothing() -> Response:
    return PlainTextResponse("There is nothing here. Load the page again.", 404)


def files_of(folder: Path) -> tuple[str, ...]:
    """Names of the files of a result: those that it says it wrote, and no links."""
    with suppress(OSError, HitchgridError):
        found = (path for path in manifest.listed(folder) if path.is_file() and not path.is_symlink())
        return tuple(sorted(path.name for path in found))
    return ()


def file_of(folder: Path, name: str) -> Response:
    if name not in files_of(folder):
        return nothing()
    kind = "inline" if name.endswith(SHOWN_HERE) else "attachment"
    return FileResponse(folder / name, filename=name, content_disposition_type=kind)


async def archive(folder: Path) -> Response:
    """All files of a result."""

    def read() -> dict[str, bytes | str]:
        return {name: (folder / name).read_bytes() for name in files_of(folder)}

    return zipped(folder.name, await asyncio.to_thread(read))


def zipped(name: str, files: Mapping[str, bytes | str]) -> Response:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for file, content in files.items():
            archive.writestr(f"{name}/{file}", content)
    named = {"content-disposition": f"attachment; filename*=utf-8''{quote(name, errors='replace')}.zip"}
    return Response(out.getvalue(), media_type="application/zip", headers=named)

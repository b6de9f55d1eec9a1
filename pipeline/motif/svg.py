"""An SVG drawing -> pixels, without trusting the drawing.

Three walls: the text is read by expat first and refused if it has anything that reaches outside the
drawing or that grows without bound; then resvg draws it in a process of its own, which may not open
files and has limits of time and memory; then the result is decoded like any other picture.
"""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import InputError
from pipeline.motif.raster import decode

MOST_BYTES = 5_000_000
MOST_ELEMENTS = 20_000
MOST_DEPTH = 60
MOST_DRAWN = 200_000
"""Elements after every reference (use, pattern, mask, clip, marker …) has been followed."""

_SIDE = 1200  # pixels of the longer side that is drawn; a band has a few dozen cells across
_TIMEOUT_S = 15
_WORKER = Path(__file__).with_name("svg_worker.py")
_TO_PNG = "Export the drawing as a PNG from your drawing program, and use that file."
_FORBIDDEN = {
    "text": "text, which depends on the fonts of the machine",
    "image": "an embedded picture",
    "feimage": "an embedded picture",
    "script": "a script",
    "foreignobject": "a foreign object",
}
_URL = re.compile(r"url\s*\(\s*(.*?)\s*\)", re.IGNORECASE | re.DOTALL)


def looks_like_svg(data: bytes) -> bool:
    """Whether the first thing in the data is XML markup (so that no raster reader need try)."""
    start = data[:1024]
    for mark, codec in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"), (b"\xef\xbb\xbf", "utf-8")):
        if start.startswith(mark):
            return start[len(mark) :].decode(codec, "ignore").lstrip().startswith("<")
    return start.lstrip().startswith(b"<")


def render_svg(data: bytes, name: str) -> NDArray[np.uint8]:
    """Return the drawing as (h, w, 4) uint8 sRGB and alpha, its longer side 1,200 pixels.

    Raises ``InputError`` for anything but a self-contained drawing: a DTD or entities, references
    that do not begin with ``#``, text, embedded pictures, scripts, nesting deeper than
    ``MOST_DEPTH``, more than ``MOST_ELEMENTS`` elements, or ``MOST_DRAWN`` after following
    references; and if the drawing takes too long or the optional resvg-py is missing.
    """
    text = _Guard(name).read(data)
    if importlib.util.find_spec("resvg_py") is None:
        raise InputError(
            f"{name} is an SVG drawing, and the part that draws those is not installed.",
            'Install it with: pip install "hitchgrid[svg]", or export the drawing as a PNG.',
        )
    command = [sys.executable, "-I", str(_WORKER), str(_SIDE)]
    try:
        done = subprocess.run(
            command, input=text.encode(), capture_output=True, timeout=_TIMEOUT_S, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise InputError(f"{name} takes too long to draw.", _TO_PNG) from error
    if done.returncode != 0 or not done.stdout:
        raise InputError(f"{name} cannot be drawn: it is damaged or too complicated.", _TO_PNG)
    return decode(done.stdout, name)


@dataclass(slots=True)
class _Node:
    """An element: the ids that it refers to, and the elements in it."""

    refers: list[str] = field(default_factory=list)
    children: list[int] = field(default_factory=list)


@dataclass(slots=True)
class _Guard:
    """Reads a drawing with expat and refuses what is not self-contained and bounded."""

    name: str
    nodes: list[_Node] = field(default_factory=list)
    ids: dict[str, int] = field(default_factory=dict)
    path: list[int] = field(default_factory=list)
    tags: list[str] = field(default_factory=list)
    style: list[str] = field(default_factory=list)

    def read(self, data: bytes) -> str:
        """Return the drawing as text if it is acceptable; the very text that was looked through."""
        if len(data) > MOST_BYTES:
            self._refuse(f"is an SVG of more than {MOST_BYTES // 1_000_000} megabytes")
        try:
            text = _decoded(data)
        except (ValueError, LookupError) as error:
            raise InputError(f"{self.name} is not written in the encoding that it names.", _TO_PNG) from error
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
        parser.StartDoctypeDeclHandler = self._doctype
        parser.EntityDeclHandler = self._doctype
        parser.ProcessingInstructionHandler = self._instruction
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._characters
        try:
            parser.Parse(text, True)
        except expat.ExpatError as error:
            raise InputError(f"{self.name} is not a whole SVG file ({error}).", _TO_PNG) from error
        except ValueError as error:  # characters that cannot be encoded
            raise InputError(f"{self.name} is not a whole SVG file.", _TO_PNG) from error
        self._check_growth()
        return text

    def _refuse(self, because: str) -> NoReturn:
        raise InputError(f"{self.name} {because}.", _TO_PNG)

    def _doctype(self, *_: object) -> None:
        self._refuse("has a DTD or entities, which are not read")

    def _instruction(self, target: str, _: str) -> None:
        self._refuse(f"has a processing instruction ({target[:20]}), which is not followed")

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        local = tag.rpartition(" ")[2].lower()
        self.tags.append(local)
        if not self.nodes and local != "svg":
            self._refuse("is XML, but not an SVG drawing")
        if local in _FORBIDDEN:
            self._refuse(f"contains {_FORBIDDEN[local]}")
        if len(self.path) >= MOST_DEPTH:
            self._refuse(f"nests elements more than {MOST_DEPTH} deep")
        if len(self.nodes) >= MOST_ELEMENTS:
            self._refuse(f"has more than {MOST_ELEMENTS:,} elements")
        number = len(self.nodes)
        node = _Node()
        self.nodes.append(node)
        if self.path:
            self.nodes[self.path[-1]].children.append(number)
        self.path.append(number)
        for key, value in attributes.items():
            attribute = key.rpartition(" ")[2].lower()
            if attribute == "id":
                self.ids.setdefault(value, number)
            elif attribute in ("href", "src"):
                node.refers.append(self._inside(value))
            elif attribute == "base":
                self._refuse("has a base address, which is not followed")
            else:
                node.refers.extend(self._references(value, css=attribute == "style"))

    def _end(self, _: str) -> None:
        if self.tags.pop() == "style":
            self._references("".join(self.style), css=True)
            self.style.clear()
        self.path.pop()

    def _characters(self, text: str) -> None:
        if self.tags and self.tags[-1] == "style":
            self.style.append(text)

    def _inside(self, target: str) -> str:
        """Return the id that a reference names; refuse one that leaves the drawing."""
        target = target.strip().strip("'\"").strip()
        if not target.startswith("#"):
            self._refuse("refers to something outside the drawing, which is not followed")
        return target[1:]

    def _references(self, value: str, *, css: bool) -> list[str]:
        lowered = value.lower()
        if "\\" in value and (css or "(" in value):
            self._refuse("has escaped characters in its style")
        if css and ("@import" in lowered or "@font-face" in lowered):
            self._refuse("has a style sheet that imports another or a font")
        found = _URL.findall(value)
        if len(found) < len(re.findall(r"url\s*\(", lowered)):
            self._refuse("has a reference that does not end")
        return [self._inside(target) for target in found]

    def _check_growth(self) -> None:
        """Count the elements that drawing would visit, following references; refuse cycles and floods."""
        total: dict[int, int] = {}
        under_way = {0}
        stack = [(0, iter(self._leads_to(0)))]  # depth first, without recursion
        while stack:
            number, rest = stack[-1]
            ahead = next((n for n in rest if n not in total), None)
            if ahead is None:
                total[number] = 1 + sum(total[n] for n in self._leads_to(number))
                if total[number] > MOST_DRAWN:
                    self._refuse(f"repeats itself into more than {MOST_DRAWN:,} elements")
                under_way.discard(number)
                stack.pop()
            elif ahead in under_way:
                self._refuse("refers to itself in a circle")
            else:
                under_way.add(ahead)
                stack.append((ahead, iter(self._leads_to(ahead))))

    def _leads_to(self, number: int) -> list[int]:
        """The elements that drawing one visits next: those in it and those it refers to."""
        node = self.nodes[number]
        return node.children + [self.ids[name] for name in node.refers if name in self.ids]


def _decoded(data: bytes) -> str:
    """Decode as the byte order mark or else the XML declaration says, UTF-8 by default."""
    for mark, codec in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig")):
        if data.startswith(mark):
            return data.decode(codec)
    declared = re.match(rb"\s*<\?xml[^>]*encoding\s*=\s*[\"']([A-Za-z0-9._-]+)[\"']", data)
    return data.decode(declared.group(1).decode() if declared else "utf-8")

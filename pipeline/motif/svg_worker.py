"""Looks through one SVG drawing and draws it: runs in the confined process only."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, NoReturn
from xml.parsers import expat

from pipeline.errors import InputError

MOST_ELEMENTS = 20_000
MOST_DEPTH = 60
MOST_DRAWN = 200_000
"""Elements after every reference (use, pattern, mask, clip, marker …) has been followed."""

TO_PNG = "Export the drawing as a PNG from your drawing program, and use that file."
_ENCODINGS = ("utf-8", "utf-16", "us-ascii", "iso-8859-1", "iso-8859-15", "windows-1252")
_FORBIDDEN = {
    "text": "text, which depends on the fonts of the machine",
    "image": "an embedded picture",
    "feimage": "an embedded picture",
    "script": "a script",
    "foreignobject": "a foreign object",
}


def prepare() -> None:
    """Import what can no longer be imported once no file can be opened."""
    import resvg_py  # noqa: F401

    for name in _ENCODINGS:
        "".encode(name)


def work(task: dict[str, Any], data: bytes) -> tuple[dict[str, Any], bytes]:
    """Draw with the longer side of ``task["side"]`` pixels; answer a PNG."""
    from resvg_py import svg_to_bytes

    text, side = Guard(task["name"]).read(data), task["side"]
    # Fonts of the machine are left out, so that a drawing looks the same everywhere.
    # Lengths in millimetres and the like are at 96 pixels an inch, as CSS has them.
    return {}, bytes(svg_to_bytes(svg_string=text, width=side, height=side, dpi=96, skip_system_fonts=True))


@dataclass(slots=True)
class _Node:
    """An element: the ids that it refers to, and the elements in it."""

    refers: list[str] = field(default_factory=list)
    children: list[int] = field(default_factory=list)


@dataclass(slots=True)
class Guard:
    """Reads a drawing with expat and refuses what is not self-contained and bounded."""

    name: str
    nodes: list[_Node] = field(default_factory=list)
    ids: dict[str, int] = field(default_factory=dict)
    path: list[int] = field(default_factory=list)
    tags: list[str] = field(default_factory=list)
    style: list[str] = field(default_factory=list)

    def read(self, data: bytes) -> str:
        """Return the drawing as text if it is acceptable; the very text that was looked through."""
        try:
            text = _decoded(data)
        except (ValueError, LookupError) as error:
            raise InputError(f"{self.name} is not written in the encoding that it names.", TO_PNG) from error
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
            raise InputError(f"{self.name} is not a whole SVG file ({error}).", TO_PNG) from error
        except ValueError as error:  # characters that cannot be encoded
            raise InputError(f"{self.name} is not a whole SVG file.", TO_PNG) from error
        self._check_growth()
        return text

    def _refuse(self, because: str) -> NoReturn:
        raise InputError(f"{self.name} {because}.", TO_PNG)

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
        return [self._inside(target) for target in self._urls(value, lowered)]

    def _urls(self, value: str, lowered: str) -> Iterator[str]:
        """What stands in each url( … ), in one pass over the value."""
        at = lowered.find("url")
        while at >= 0:
            opened = at + 3
            while lowered[opened : opened + 1].isspace():
                opened += 1
            if lowered[opened : opened + 1] == "(":
                closed = lowered.find(")", opened)
                if closed < 0:
                    self._refuse("has a reference that does not end")
                yield value[opened + 1 : closed]
                opened = closed
            at = lowered.find("url", opened)

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
    """Decode as the byte order mark or else the XML declaration says, UTF-8 by default.

    Raises ValueError for another encoding than drawing programs write: some take minutes to decode.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16")
    data = data.removeprefix(b"\xef\xbb\xbf")
    declared = re.match(rb"\s*<\?xml[^>]{0,200}encoding\s{0,9}=\s{0,9}[\"']([A-Za-z0-9._-]{1,40})[\"']", data)
    codec = declared.group(1).decode().lower() if declared else "utf-8"
    if codec not in _ENCODINGS:
        raise ValueError(f"the encoding {codec} is not read")
    return data.decode(codec)

"""HTML pages that stand alone: one file, no request, nothing runs or styles but what the page declares."""

from __future__ import annotations

import base64
import hashlib
import json
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from pipeline.band.pattern import PatternThread
from pipeline.files.channels import printable
from pipeline.writers.ink import ink_on

_HERE = Path(__file__).parent


def page(template: str, *, styles: tuple[str, ...], css: str = "", script: str = "", **values: Any) -> str:
    """Fill a template of this folder; every value is escaped.

    ``styles`` and ``script`` are files of this folder, ``css`` are further rules of our own making. The
    content security policy allows just these two blocks, by their hashes (CSP Level 3), and no request.
    """
    environment = Environment(
        loader=FileSystemLoader(_HERE), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip
    environment.filters["text"] = printable
    style = "\n" + "".join(_read(name) for name in styles) + css
    code = "\n" + _read(script) if script else ""
    policy = [
        "default-src 'none'",
        f"style-src '{_hash(style)}'",
        f"script-src '{_hash(code)}'" if code else "script-src 'none'",
        "img-src data:",
        "base-uri 'none'",
        "form-action 'none'",
    ]
    return environment.get_template(template).render(
        policy="; ".join(policy), style=Markup(style), code=Markup(code), **values
    )  # both blocks are files of ours


def _read(name: str) -> str:
    return (_HERE / name).read_text(encoding="utf-8")


def _hash(block: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(block.encode()).digest()).decode()


def data_block(value: Any) -> Markup:
    """JSON that may stand in a ``<script type="application/json">`` whatever texts it holds."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"))
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)


def thread_css(threads: tuple[PatternThread, ...]) -> str:
    """Rules ``.t1``, ``.t2`` …: a thread's colour and the ink that reads on it."""
    rules = (
        f".t{i} {{ --thread: {thread.colour}; --ink-on: {ink_on(thread.colour)}; }}\n"
        for i, thread in enumerate(threads, 1)
    )
    return "".join(rules)

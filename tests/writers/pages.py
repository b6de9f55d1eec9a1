"""Checks that hold for every HTML page: valid, closed to the network, and escaped."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Collection
from html.parser import HTMLParser

import html5lib


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def tags_of(page: str) -> list[tuple[str, dict[str, str | None]]]:
    """Every start tag with its attributes."""
    parser = _Tags()
    parser.feed(page)
    return parser.tags


def check_page(page: str, links: Collection[str] = ()) -> None:
    """Valid HTML (html5lib, strict), no request, nothing inline but what the policy lists by hash.

    Pictures lie in the page itself; ``links`` are the only places it leads to.
    """
    html5lib.HTMLParser(strict=True).parse(page)
    tags = tags_of(page)
    for tag, attributes in tags:
        assert tag not in ("iframe", "object", "embed", "base")
        if tag == "img":
            assert (attributes.pop("src") or "").startswith("data:image/") and attributes["alt"]
        if tag == "image":
            assert (attributes.pop("href") or "").startswith("data:image/png;base64,")
        assert not any(name.startswith("on") for name in attributes), "no inline handlers"
        assert "style" not in attributes, "the policy would refuse inline styles"
        for name in ("src", "href", "action", "srcset"):
            assert (attributes.get(name) or "data:,") in ("data:,", *links)
    assert "url(" not in page and "@import" not in page
    policy = next(a["content"] or "" for t, a in tags if a.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy and "http" not in policy
    for block in re.findall(r"<style>(.*?)</style>|<script>(.*?)</script>", page, re.DOTALL):
        digest = hashlib.sha256("".join(block).encode()).digest()
        assert f"'sha256-{base64.b64encode(digest).decode()}'" in policy

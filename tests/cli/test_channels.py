"""Names from files through every command and output: on a pseudo-terminal, in tables, pages and drawings.

Each name is an attack on one channel: formulas, orders to a terminal, marks of direction, markup, links,
emoji codes, script, templates, shell words. Whatever shows it must show it as text.
"""

from __future__ import annotations

import csv
import io
import json
import os
import pty
import re
import select
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from lxml import etree
from PIL import Image

from cli.draw import OUTPUTS
from pipeline.band.pattern import Pattern, PatternThread, render
from pipeline.band.reading import parse_pattern
from pipeline.files.channels import json_text, label, printable, shell, spreadsheet, xml
from pipeline.instructions.text import write_instructions
from tests.patterns import random_pattern

ROOT = Path(__file__).parents[2]
HITCHGRID = "import sys; from cli.main import run; run(sys.argv[1:])"
VICIOUS = (
    '=HYPERLINK("http://quay.example","x")',
    "+1+cmd|' /C calc'!A0",
    "@SUM(A1)",
    "\t=1+1",
    "quay;=1+1",
    "\uff1d1+1",
    "\x1b[2J\x1b[1;1H\x1b]0;owned\x07",
    "\x1b]8;;http://quay.example\x1b\\rope\x1b]8;;\x1b\\",
    "\x9b31mred",
    "rope\u202egnp.exe",
    "\u2067rope\u2066\u200b",
    "[/]",
    "[bold][link=http://quay.example]rope[/link]",
    ":skull: :warning:",
    "</title></style><script>alert(1)</script>",
    "\" onload='alert(1)' x=\"",
    "&lt;b&gt;<font size=99><a href='http://quay.example'>rope</a></font>",
    "{{ 7 * 7 }}{% include '/etc/passwd' %}",
    "$(touch owned)`touch owned`; touch owned #",
    "'; touch owned; '",
    "first\nhitchgrid: all is well\r\nlast\u2028line",
    "../../../etc/passwd",
    "nul\x00byte\ufffe\uffff",
    "--out",
    "cafe\u0301 \u00e9t\u00e9\u00a0",
    "%s%n{0}",
    "x" * 199,
)
OWN_CODES = re.compile(r"\x1b\[(?:[0-9;]*m|\?25[lh]|\?1049[lh]|[0-9]*[ABCDGHJK])")


def on_terminal(folder: Path, *words: str, keys: bytes = b"") -> tuple[int, str]:
    """Run the command on a pseudo-terminal of 100 columns; return its exit code and what it wrote there."""
    ours, theirs = pty.openpty()
    environment = {
        **os.environ, "PYTHONPATH": str(ROOT), "HOME": str(folder), "OMP_NUM_THREADS": "1",
        "TERM": "xterm-256color", "COLUMNS": "100", "LINES": "40",
    }  # fmt: skip
    run = subprocess.Popen(
        [sys.executable, "-c", HITCHGRID, *words],
        cwd=folder, env=environment, stdin=theirs, stdout=theirs, stderr=theirs, close_fds=True,
    )  # fmt: skip
    os.close(theirs)
    if keys:
        os.write(ours, keys)
    said = b""
    while True:
        ready = select.select([ours], [], [], 120)[0]
        try:
            part = os.read(ours, 65536) if ready else b""
        except OSError:  # the other side is closed
            part = b""
        if not part:
            break
        said += part
    os.close(ours)
    return run.wait(timeout=120), said.decode(errors="replace")


def assert_only_text(said: str) -> None:
    """Nothing but our own colours and printable characters reached the terminal."""
    left = OWN_CODES.sub("", said)
    assert not {c for c in left if not (c.isprintable() or c in "\r\n")}, ascii(left)
    assert "\x1b]8;" not in said  # no link, not even one of ours
    assert "Traceback" not in said
    assert "\N{SKULL}" not in said


@pytest.fixture(scope="module")
def band() -> Pattern:
    """A band whose title, threads and swatch are all such names."""
    sound = random_pattern(3)
    threads = list(sound.threads)
    for i, name in enumerate(VICIOUS):
        colour = f"#{(i * 7919 + 4321) % 0xFFFFFF:06x}"
        if i < len(threads):
            threads[i] = threads[i].model_copy(update={"name": name})
        else:
            threads.append(PatternThread(name=name, colour=colour))
    order = tuple(t % len(threads) for t in sound.strands)
    gauge = sound.gauge_of(sound.sections[0].worked).model_copy(update={"swatch": VICIOUS[6]})
    changes = {"threads": tuple(threads), "strands": order, "gauge": gauge}
    title = "".join(name for name in VICIOUS if len(name) < 50)[:200]
    return sound.model_copy(update={**changes, "title": title})


@pytest.fixture
def place(tmp_path: Path, band: Pattern) -> Path:
    (tmp_path / "p.json").write_text(render(band), encoding="utf-8")
    (tmp_path / "i.txt").write_text(write_instructions(band), encoding="utf-8")
    picture = Image.new("RGB", (6, 4), "#1b2a59")
    picture.paste((224, 96, 74), (2, 0, 4, 4))
    picture.save(tmp_path / "flag.png")
    return tmp_path


@pytest.mark.parametrize(
    "words",
    [
        ("check", "p.json"),
        ("check", "p.json", "--text", "i.txt"),
        ("show", "p.json", "--row", "1"),
        ("replan", "p.json", "--from-row", "2", "--left", "1=1mm", "--out", "again.json"),
        ("stash", "s.csv", "--book", "p.json", "--yes"),
    ],
)
def test_a_pattern_of_such_names_on_a_terminal(place: Path, words: tuple[str, ...]) -> None:
    (place / "s.csv").write_text("name,colour,metres\nnavy,#1b2a59,8\n")
    code, said = on_terminal(place, *words)
    assert code in (0, 2)
    assert_only_text(said)


def test_paging_through_a_pattern_of_such_names(place: Path) -> None:
    code, said = on_terminal(place, "show", "p.json", keys=b"\n\n\x1b[Bq")
    assert code == 0
    assert_only_text(said)


@pytest.mark.parametrize("name", VICIOUS)
def test_files_titles_and_flags_of_such_names(
    name: str, place: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from cli.main import run

    monkeypatch.chdir(place)
    monkeypatch.setenv("HOME", str(place))
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    safe = name.replace("\0", "").replace("/", "_")[:200]
    (place / (safe + ".png")).write_bytes((place / "flag.png").read_bytes())
    (place / (safe + ".csv")).write_text("letters,strands,rows\nI,8,8\n", encoding="utf-8")
    (place / (safe + ".json")).write_bytes((place / "p.json").read_bytes())
    before = {path.name for path in place.iterdir()}
    for words in (
        ("plan", "./" + safe + ".png", "--strands", "0", "--title", name),
        ("plan", "flag.png", "--threads", name),
        ("plan", "flag.png", "--ground", name),
        ("plan", "flag.png", "--gauge", name),
        ("plan", "flag.png", "--stash", "./" + safe + ".csv"),
        ("plan", "--letters", name, "--strands", "2"),
        ("blocks", "--groups", name),
        ("check", "./" + safe + ".json"),
        ("stash", "./" + safe + ".csv"),
        ("stash", "--near", name),
        ("gauge", name, "--swatch", "10x40=18mmx60mm"),
        ("batch", "./" + safe + ".csv", "--stash", "./" + safe + ".png"),
    ):
        with pytest.raises(SystemExit) as stop:
            run(words)
        said = capfd.readouterr()
        assert stop.value.code in (0, 2), words
        assert stop.value.code == 0 or said.err.count("\n") == 1, (words, said.err)
        assert_only_text(said.out + said.err)
    assert {path.name for path in place.iterdir()} - before <= {"output"}


def test_a_list_of_such_orders_on_a_terminal(place: Path) -> None:
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["title", "letters", "strands", "rows", "threads"])
    for i, name in enumerate(VICIOUS):
        if "\0" not in name:
            writer.writerow([name, "I", 8, 8, "navy;chalk" if i % 9 == 0 else name])
    (place / "o.csv").write_bytes(out.getvalue().encode())
    code, said = on_terminal(place, "batch", "o.csv", "--effort", "0.01", "--out", "made")
    assert code == 2
    assert_only_text(said)
    assert not (place / "owned").exists()
    for name in ("orders.csv", "skeins.csv"):
        assert_no_formula((place / "made" / name).read_text(encoding="utf-8"))
    for folder in (place / "made").iterdir():
        if folder.is_dir():
            assert_files_are_text(folder)


def test_a_plan_with_such_a_title_and_saved_gauge(place: Path) -> None:
    title = "".join(VICIOUS[:24]).replace("\0", "")
    code, said = on_terminal(
        place, "plan", "flag.png", "--grid", "--effort", "0.01", "--title", title, "--out", "made"
    )
    assert code == 0
    assert_only_text(said)
    assert_files_are_text(place / "made")


@pytest.mark.parametrize("to", [f"{what}{ending}" for ending, can in OUTPUTS.items() for what in can])
def test_every_output_of_such_a_pattern_is_text(place: Path, to: str) -> None:
    (place / "made").mkdir()
    code, said = on_terminal(place, "draw", "p.json", "--to", f"made/{to}")
    assert (code, said) == (0, "")
    assert_files_are_text(place / "made")


def assert_files_are_text(folder: Path) -> None:
    for path in folder.iterdir():
        if path.suffix == ".csv":
            assert_no_formula(path.read_text(encoding="utf-8"))
        elif path.suffix == ".svg":
            tree = etree.fromstring(path.read_bytes())
            assert {etree.QName(node).localname for node in tree.iter()} <= {
                "svg", "title", "desc", "g", "path", "polygon", "polyline", "line", "rect", "text", "circle",
            }  # fmt: skip
            keys = {str(key) for node in tree.iter() for key in node.attrib}
            assert not any(key.startswith("on") or "href" in key for key in keys)
        elif path.suffix == ".html":
            assert_no_foreign_script(path.read_text(encoding="utf-8"))
        elif path.suffix == ".json":
            json.loads(path.read_text(encoding="utf-8"))
        elif path.suffix == ".txt":
            assert all(c.isprintable() or c == "\n" for c in path.read_text(encoding="utf-8"))
        elif path.suffix == ".pdf":
            data = path.read_bytes()
            assert data.startswith(b"%PDF") and b"/URI" not in data and b"/JavaScript" not in data
        if path.name == "pattern.json":
            parse_pattern(path.read_bytes())


def assert_no_formula(text: str) -> None:
    """No cell begins a formula, however the program that opens the list splits it."""
    for row in csv.reader(io.StringIO(text)):
        for cell in row:
            assert all(c.isprintable() or c in "\t\r\n" for c in cell)
            for part in re.split(r"[;,|\t\r\n]", cell):
                bare = part.strip(' "')
                assert bare[:1] not in ("=", "@", "+", "-", "\uff1d") or re.fullmatch(r"-?[\d.]+", bare), cell


def assert_no_foreign_script(text: str) -> None:
    class Reader(HTMLParser):
        scripts, faults = 0, list[str]()

        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            self.scripts += tag == "script"
            for key, value in attrs:
                if key.startswith("on") or (key in ("href", "src") and (value or "").startswith("http")):
                    self.faults.append(f"{tag} {key}={value}")

    reader = Reader()
    reader.feed(text)
    assert reader.scripts <= 3 and not reader.faults, reader.faults
    assert "<script>alert" not in text
    assert not {c for c in text if "\u202a" <= c <= "\u202e" or "\u2066" <= c <= "\u2069"}


@pytest.mark.parametrize("name", VICIOUS)
def test_each_channel_by_itself(name: str) -> None:
    assert printable(name).isprintable()
    assert len(label(name)) <= 80 and label(name).isprintable()
    assert_no_formula(str(spreadsheet(name)).replace("\n", " ").replace("\r", " "))
    assert etree.fromstring(f"<a b='{xml(name)}'>{xml(name)}</a>").text == (printable(name) or None)
    assert json.loads(json_text({"a": name}))["a"]
    if "\0" not in name:
        ran = subprocess.run(["bash", "-c", f"printf %s {shell([name])}"], capture_output=True, check=True)
        assert ran.stdout == name.encode() and ran.stderr == b""

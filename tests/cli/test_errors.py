"""Every refusal is one sentence on standard error that names the flag or file, with exit code 2."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from cli.main import run


@pytest.fixture
def flag(tmp_path: Path) -> Path:
    picture = Image.new("RGB", (6, 4), "#1b2a59")
    picture.paste((224, 96, 74), (2, 0, 4, 4))
    picture.save(tmp_path / "flag.png")
    return tmp_path / "flag.png"


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    with pytest.raises(SystemExit) as stop:
        run(arguments)
    said = capsys.readouterr()
    assert stop.value.code == 2, said.err
    assert said.err.startswith("hitchgrid: ")
    assert said.err.count("\n") == 1
    assert "Traceback" not in said.err
    return said.err


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ((), "--letters"),
        (("--strands", "0"), "--strands"),
        (("--strands", "1"), "--strands"),
        (("--strands", "10000"), "--strands"),
        (("--strands", "many"), "--strands"),
        (("--rows", "0"), "--rows"),
        (("--rows", "10000000"), "--rows"),
        (("--wrist", "nan"), "--wrist"),
        (("--wrist", "7 parsecs"), "--wrist"),
        (("--wrist", "1km"), "--wrist"),
        (("--wrist", "giant-large"), "giant-large"),
        (("--threads", "no such thread"), "no such thread"),
        (("--threads", ",,"), "--threads"),
        (("--at-most", "navy"), "--at-most"),
        (("--at-most", "navy=-3"), "--at-most"),
        (("--start-order", "navy,*"), "--start-order"),
        (("--crop", "0,0,nan,1"), "--crop"),
        (("--crop", "0.5,0,0.5,1"), "--crop"),
        (("--gauge", "kevlar"), "kevlar"),
        (("--start", "moored"), "--start"),
        (("--stash", "nowhere.csv"), "nowhere.csv"),
        (("--colours", "0"), "--colours"),
        (("--selvedge", "90"), "--selvedge"),
        (("--no-such-flag",), "--no-such-flag"),
        (("--time-limit", "0"), "--time-limit"),
        (("--background", "mauve"), "mauve"),
    ],
)
def test_bad_flags(
    arguments: tuple[str, ...], named: str, flag: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = (str(flag),) if arguments else ()
    out = tmp_path / "out"
    assert named in refused(capsys, "plan", *source, *arguments, "--out", str(out))
    assert not out.exists()


def test_a_grid_of_another_size_is_refused(
    flag: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = ("--out", str(tmp_path / "out"))
    assert "7 strands" in refused(capsys, "plan", str(flag), "--grid", "--strands", "8", *out)
    assert "4 rows" in refused(capsys, "plan", str(flag), "--grid", "--rows", "5", *out)


def test_a_former_result_needs_replace(
    flag: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ("plan", str(flag), "--grid", "--no-advice", "-q", "--out", str(tmp_path / "out"))
    with pytest.raises(SystemExit) as stop:
        run(arguments)
    assert stop.value.code == 0
    before = (tmp_path / "out" / "pattern.json").read_bytes()
    assert "--replace" in refused(capsys, *arguments)
    assert (tmp_path / "out" / "pattern.json").read_bytes() == before
    with pytest.raises(SystemExit) as stop:
        run((*arguments, "--replace"))
    assert stop.value.code == 0


@pytest.mark.parametrize("name", ["a" * 5000, "a/" * 3000 + "a", "a" * 300])
def test_a_name_as_long_as_a_page(
    name: str, flag: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for words in (
        ("plan", str(flag), "--grid", "--no-advice", "--out", name),
        ("plan", name),
        ("plan", str(flag), "--stash", name),
        ("blocks", "--groups", "3,3", "--out", name),
        ("batch", name),
        ("check", name),
        ("stash", name),
    ):
        assert len(refused(capsys, *words)) < 1100
    assert [path.name for path in tmp_path.iterdir()] == ["flag.png"]


@pytest.mark.parametrize(
    "content", [b"", b"{}", b"[" * 100_000, b"\xff\xfe", b'{"format": "hitchgrid-pattern", "version": 2}']
)
def test_damaged_patterns(content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "pattern.json"
    path.write_bytes(content)
    assert "pattern.json" in refused(capsys, "check", str(path))


def test_a_fault_in_a_pattern_names_its_place(
    flag: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        run(("plan", str(flag), "--grid", "--no-advice", "-q", "--out", str(tmp_path / "out")))
    path = tmp_path / "out" / "pattern.json"
    document = json.loads(path.read_text())
    document["sections"][0]["rows"][2]["knots"][1][0] = 40
    path.write_text(json.dumps(document))
    assert "sections[0].rows[2].knots[1]" in refused(capsys, "check", str(path))
    document["sections"][0]["rows"][2]["knots"][1] = [1, "granny"]
    path.write_text(json.dumps(document))
    assert "sections[0].rows[2].knots[1]" in refused(capsys, "check", str(path))

"""Stashes: what is read, what is refused and how, and names that a maker types."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.drawer.stash import (
    DEFAULT_PRESET,
    PRESETS,
    STASH,
    Stash,
    Thread,
    builtin_stash,
    diameter_mm,
    parse_stash,
    preset_named,
    read_stash,
    render_stash,
    spell_names,
    split_names,
    thread_of,
)
from pipeline.errors import InputError
from pipeline.limits import MOST_NAME

HEADER = "name,colour,metres\n"


def parse(text: str) -> Stash:
    return parse_stash(text.encode(), "drawer.csv")


# ---------------------------------------------------------------- presets


def test_diameters_follow_peirce() -> None:
    """F. T. Peirce's relation, d = 0.0375·√tex at 1.1 cm³/g; 8.7 yd of floss a skein (several retailers)."""
    assert diameter_mm(240) == pytest.approx(0.58, abs=0.005)
    assert PRESETS[DEFAULT_PRESET].skein_m == pytest.approx(8.7 * 0.9144, abs=0.05)
    for name in ("pearl cotton 5", "pearl cotton 3", "macramé cotton 2 mm"):
        assert PRESETS[name].diameter_mm == pytest.approx(diameter_mm(PRESETS[name].tex), rel=0.02)


def test_pearl_cottons_weigh_5_g() -> None:
    """Both are sold as balls of 5 g (retailers), so skein length × tex is 5 g."""
    for name in ("pearl cotton 5", "pearl cotton 3"):
        preset = PRESETS[name]
        assert preset.skein_m is not None
        assert preset.skein_m * preset.tex / 1000 == pytest.approx(5.0, rel=0.01)


def test_presets_are_found_by_part_of_the_name() -> None:
    assert preset_named("Macrame").name == "macramé cotton 2 mm"
    with pytest.raises(InputError, match="not a kind of thread"):
        preset_named("pearl")


# ---------------------------------------------------------------- reading


def test_a_plain_list() -> None:
    stash = parse(HEADER + 'navy,#1B2A59,16.5\n"red, dark",#a01020,\n')
    assert stash.threads[0] == Thread("navy", "#1b2a59", 16.5, skein_m=8.0)
    assert stash.threads[1].name == "red, dark"
    assert stash.threads[1].metres is None


def test_optional_columns_in_any_order() -> None:
    stash = parse(
        "price,Notes,preset,metres,colour,name,skein_m\n2.4,from Ada,Pearl cotton 5,30,#fff,chalk,\n"
    )
    thread = stash.threads[0]
    assert (thread.preset, thread.skein_m, thread.diameter_mm) == ("pearl cotton 5", 25.0, 0.53)
    assert (thread.price, thread.colour) == (2.4, "#ffffff")


def test_spreadsheets_of_other_countries() -> None:
    """A byte-order mark, CRLF, semicolons, a decimal comma, blank lines, American spelling."""
    text = "\ufeffname;color;metres\r\n\r\nnavy;#1b2a59;12,5\r\n;;\r\nchalk;#f4f1e8;\r\n"
    stash = parse(text)
    assert stash.names == ("navy", "chalk")
    assert stash.threads[0].metres == 12.5


def test_a_gimp_palette() -> None:
    text = (
        "GIMP Palette\nName: Harbour\nColumns: 4\n# drawn by us\n 27  42  89\tnavy\n244 241 232\n1 2 3 navy\n"
    )
    stash = parse_stash(text.encode(), "harbour.gpl")
    assert [(t.name, t.colour, t.metres) for t in stash.threads] == [
        ("navy", "#1b2a59", None),
        ("colour f4f1e8", "#f4f1e8", None),
        ("navy 2", "#010203", None),
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty"),
        ("\n \n", "is empty"),
        ("name,colour\nnavy,#1b2a59\n", "line 1: there is no column 'metres'"),
        ("navy,#1b2a59,8\n", "line 1: there is no column 'name'"),
        ("name,colour,metres,metres\n", "line 1: column 'metres' stands twice"),
        ("name,colour,metres,skien\n", "line 1: column 'skien' is unknown"),
        (HEADER, "holds no threads"),
        (HEADER + "navy,blue,8\n", "line 2: 'blue' is not a colour"),
        (HEADER + "navy,#1b2a59,8\nnavy,#000000,8\n", "line 3: the name 'navy' stands in line 2 already"),
        (HEADER + "navy,#1b2a59,nan\n", "line 2: metres 'nan' is not a number"),
        (HEADER + "navy,#1b2a59,inf\n", "line 2: metres 'inf' is not a number"),
        (HEADER + "navy,#1b2a59,1e5\n", "line 2: metres '1e5' is not a number"),
        (HEADER + "navy,#1b2a59,１２\n", "is not a number"),
        (HEADER + "navy,#1b2a59,-3\n", "line 2: metres of -3 cannot be"),
        (HEADER + "navy,#1b2a59,99999999\n", "cannot be"),
        (HEADER + "navy,#1b2a59,12,5\n", "line 2: has 4 cells, the header 3"),
        (HEADER + "=cmd|'/c calc'!A1,#1b2a59,8\n", "line 2: the name .* and a spreadsheet may run it"),
        (HEADER + "@SUM(A1),#1b2a59,8\n", "and a spreadsheet may run it"),
        (HEADER + "+navy,#1b2a59,8\n", "and a spreadsheet may run it"),
        (HEADER + "-navy,#1b2a59,8\n", "and a spreadsheet may run it"),
        (HEADER + ",#1b2a59,8\n", "line 2: a thread has no name"),
        (HEADER + "na\u202evy,#1b2a59,8\n", r"line 2: .* invisible character U\+202E"),
        (HEADER + "na\x1b[31mvy,#1b2a59,8\n", r"invisible character U\+001B"),
        (HEADER + "na\u200bvy,#1b2a59,8\n", r"invisible character U\+200B"),
        (HEADER + "na\0vy,#1b2a59,8\n", "line 2: this is not text"),
        (HEADER + '"navy,#1b2a59,8\n', "unexpected end of data"),
        (HEADER + "n" * 61 + ",#1b2a59,8\n", "has 61 characters"),
        ("name,colour,metres,preset\nnavy,#1b2a59,8,wool\n", "line 2: 'wool' is not a kind of thread"),
        ("name,colour,metres,skein_m\nnavy,#1b2a59,8,0\n", "line 2: skein_m of 0 cannot be"),
        ("name,colour,metres,skein_m\nnavy,#1b2a59,8,0.004\n", "skein_m of 0.004 cannot be"),
        (HEADER + "navy,#1b2a59,800000\n", "Write a number from 0 to 100,000"),
        (HEADER + "".join(f"t{i},#000000,1\n" for i in range(1001)), "line 1002: more than 1000 threads"),
        ("GIMP Palette\n300 0 0 red\n", "line 2: '300 0 0 red' is not a palette colour"),
        ("GIMP Palette\nName: none\n", "holds no threads"),
        ("GIMP Palette\n1 2 3 =cmd\n", "line 2: the name"),
    ],
)
def test_what_cannot_be_is_refused_with_its_line(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        parse(text)
    assert caught.value.hint
    assert caught.value.exit_code == 2


@pytest.mark.parametrize("encoding", ["utf-16", "latin-1"])
def test_other_encodings_are_refused(encoding: str) -> None:
    with pytest.raises(InputError, match=r"line \d: the text is not UTF-8"):
        parse_stash((HEADER + "bleu foncé,#1b2a59,8\n").encode(encoding), "drawer.csv")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no file missing"):
        read_stash(tmp_path / "missing.csv")
    with pytest.raises(InputError, match="is a folder"):
        read_stash(tmp_path)
    huge = tmp_path / "huge.csv"
    huge.write_bytes(b"x" * (STASH.most_bytes + 1))
    with pytest.raises(InputError, match="larger than the 1 MB"):
        read_stash(huge)


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    for head in (b"", HEADER.encode(), b"GIMP Palette\n"):
        try:
            stash = parse_stash(head + data, "any")
        except InputError as error:
            assert error.hint
        else:
            assert stash.threads


@given(st.text(max_size=80))
def test_any_name_is_kept_or_refused(name: str) -> None:
    quoted = name.replace('"', '""')
    try:
        stash = parse(f'{HEADER}"{quoted}",#123456,3\n')
    except InputError:
        return
    kept = stash.threads[0].name
    assert kept[0].isalnum()
    assert kept.isprintable()
    assert len(kept) <= MOST_NAME
    assert stash.find(kept) is stash.threads[0]


AMOUNTS = st.none() | st.integers(1, 10**8).map(lambda n: n / 1000)
NAMES = st.text(st.characters(categories=["L", "N", "P", "Zs"]), min_size=1, max_size=40).map(
    lambda text: "x" + text
)


@given(st.lists(st.tuples(NAMES, AMOUNTS, st.sampled_from(sorted(PRESETS)), AMOUNTS), min_size=1, max_size=6))
def test_a_stash_is_read_back_as_written(rows: list[tuple[str, float | None, str, float | None]]) -> None:
    threads = [
        thread_of(name, f"#{i:06x}", metres, preset=preset, price=price)
        for i, (name, metres, preset, price) in enumerate(rows)
    ]
    by_name = {thread.name: thread for thread in threads}
    stash = Stash(tuple(by_name.values()), "drawer.csv")
    assert parse(render_stash(stash)) == stash


# ---------------------------------------------------------------- names


def test_names_in_any_case_and_without_accents() -> None:
    stash = parse(HEADER + "Azul Marítimo,#1b2a59,8\nnavy,#000080,8\nNavy,#000070,8\n")
    assert stash.find("azul  maritimo").colour == "#1b2a59"
    assert stash.find("Navy").colour == "#000070"
    with pytest.raises(InputError, match=r"'NAVY' fits 'navy' and 'Navy'\. Write the name exactly"):
        stash.find("NAVY")


def test_unknown_names_suggest_near_ones() -> None:
    with pytest.raises(InputError, match=r"no thread 'nayv' in the built-in palette\. Did you mean navy"):
        builtin_stash().find("nayv")
    with pytest.raises(InputError, match="Did you mean signal red or signal blue"):
        builtin_stash().pick(["chalk", "signal"])
    with pytest.raises(InputError, match="It holds chalk, "):
        builtin_stash().find("qqqq")


def test_picking_keeps_the_order_named_and_each_once() -> None:
    assert builtin_stash().pick(["tar", "chalk", "Tar"]).names == ("tar", "chalk")


@pytest.mark.parametrize(
    "names", [["sea; green"], ["sea; green", "navy"], ["red, dark", 'gift of "Ada"'], ["navy"], ['a"b;c,d']]
)
def test_names_that_are_spelled_are_read_as_they_were(names: list[str]) -> None:
    assert split_names(spell_names(names)) == tuple(names)


def test_lists_of_names_split_at_commas_outside_quotes() -> None:
    assert split_names('navy, "red, dark",chalk') == ("navy", "red, dark", "chalk")
    assert split_names("navy,,chalk") == ("navy", "", "chalk")
    assert split_names("") == ()
    with pytest.raises(InputError, match="characters"):
        split_names("x" * 200_000)


def test_grey_is_found_as_gray_and_gray_as_grey() -> None:
    owned = parse_stash(b"name,colour,metres\nslate grey,#707880,8\nGray mist,#b0b4b8,8\n", "drawer.csv")
    assert owned.find("Slate Gray").name == "slate grey"
    assert owned.find("grey mist").name == "Gray mist"

"""Everything a maker can ask for, declared once: flags, columns of a list and fields of a form come from it.

Light: nothing here needs more than the bounds and the names of choices, so a command line can show its help
at once. :mod:`pipeline.order.request` reads what is given.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from pipeline import limits
from pipeline.limits import Bounds
from pipeline.literals import (
    BORDERS,
    EASE_OF,
    EASES,
    END_STYLES,
    FILLS,
    FITS,
    LEVELS,
    MODES,
    TAIL_STYLES,
    WORKED,
)
from pipeline.order.units import spell_flag


class Group(StrEnum):
    """Headings under which options are listed."""

    PICTURE = "Picture and letters"
    BLOCKS = "The blocks"
    THREADS = "Threads"
    BAND = "The band"
    TYING = "Tying"
    CUTTING = "Cutting and ends"
    RESULT = "Result"


class Kind(StrEnum):
    """How the text of an option is read; the value is what help shows in its place."""

    TEXT = "TEXT"
    NAMES = "NAME,…"
    COUNTS = "NAME=COUNT"
    WHOLE = "N"
    NUMBER = "NUMBER"
    LENGTH = "LENGTH"
    CHOICE = "WORD"
    SWITCH = ""
    FILE = "FILE"


@dataclass(frozen=True, slots=True)
class Option:
    """One thing that can be asked for.

    ``help`` says in plain words what it does; ``usual`` is the text taken where nothing is given, and
    ``otherwise`` says what happens then if that is no value. ``words`` are those a CHOICE is made from, or
    that may stand instead of a number. Lengths are bounded in mm. ``common`` options stand in the short help.
    Those ``of_run`` concern one run of a command, not the band: a list of orders has no column for them.
    """

    name: str
    group: Group
    kind: Kind
    help: str
    usual: str = ""
    otherwise: str = ""
    bounds: Bounds | None = None
    words: tuple[str, ...] = ()
    metavar: str = ""
    common: bool = False
    of_run: bool = False

    @property
    def shown(self) -> str:
        """What help shows for its value."""
        if self.kind is Kind.CHOICE:
            return self.metavar or "|".join(self.words)
        return self.metavar or self.kind.value

    @property
    def argument(self) -> bool:
        """Whether it is given without a flag."""
        return self.name in ("picture", "orders")

    @property
    def opposite(self) -> str:
        """The name of the flag that turns a switch off."""
        return "open" if self.name == "filled" else f"no-{self.name}"

    @property
    def repeated(self) -> bool:
        """Whether the flag may be given several times."""
        return self.kind is Kind.COUNTS


OPTIONS: tuple[Option, ...] = (
    Option(
        "picture", Group.PICTURE, Kind.FILE,
        "A picture: PNG, JPEG, WebP, GIF, BMP, TIFF or SVG.", metavar="SOURCE", common=True,
    ),
    Option("letters", Group.PICTURE, Kind.TEXT, "Letters instead of a picture.", common=True),
    Option(
        "height", Group.PICTURE, Kind.WHOLE, "Height of the letters in cells: 5, 7, 9, 12 or a multiple.",
        otherwise="what fits", bounds=Bounds(1, limits.MOST_STRANDS),
    ),
    Option("font", Group.PICTURE, Kind.FILE, "A font file for other scripts.", otherwise="our own alphabets"),
    Option("across", Group.PICTURE, Kind.SWITCH, "Letters upright, one below another.", "no"),
    Option("letter-threads", Group.PICTURE, Kind.NAMES, "Threads of the letters in turn."),
    Option("grid", Group.PICTURE, Kind.SWITCH, "The picture has one pixel a cell.", "no"),
    Option("background", Group.PICTURE, Kind.TEXT, "Colour behind transparent parts.", metavar="#rrggbb"),
    Option("trim", Group.PICTURE, Kind.SWITCH, "Cut off an even margin.", "yes"),
    Option(
        "crop", Group.PICTURE, Kind.TEXT, "Use this part only, in shares of the picture from 0 to 1.",
        otherwise="all of it", metavar="LEFT,TOP,RIGHT,BOTTOM",
    ),
    Option("turn", Group.PICTURE, Kind.WHOLE, "Quarter turns clockwise.", "0", bounds=Bounds(-3, 3)),
    Option("mirror", Group.PICTURE, Kind.SWITCH, "Mirror the picture.", "no"),
    Option(
        "fit", Group.PICTURE, Kind.CHOICE,
        "How the picture fills its place: whole, cut to fill it, or stretched.", "contain", words=FITS,
    ),
    Option(
        "reduce", Group.PICTURE, Kind.CHOICE, "Take it as flat artwork or as a photo.", "auto", words=MODES,
    ),
    Option(
        "stash", Group.THREADS, Kind.FILE, "Your threads: CSV or GIMP palette.",
        otherwise="the built-in palette", common=True, of_run=True,
    ),
    Option("threads", Group.THREADS, Kind.NAMES, "Just these threads.", otherwise="all you own", common=True),
    Option(
        "colours", Group.THREADS, Kind.WHOLE, "Use so many threads.",
        otherwise="as many as the picture is worth", bounds=limits.COLOURS, common=True,
    ),
    Option(
        "ground", Group.THREADS, Kind.TEXT, "Thread of the ground.",
        otherwise="chosen by the picture", metavar="NAME",
    ),
    Option("at-most", Group.THREADS, Kind.COUNTS, "No more strands of a thread than this."),
    Option("start-order", Group.THREADS, Kind.NAMES, "Threads from left to right, * where free."),
    Option(
        "strands", Group.BAND, Kind.WHOLE, "Strands in the band, usually 8 to 24.",
        otherwise="chosen by the artwork", bounds=limits.STRANDS, common=True,
    ),
    Option(
        "worked", Group.BAND, Kind.CHOICE, "Row-worked or diagonal-worked.", "rows",
        words=WORKED, common=True,
    ),
    Option(
        "rows", Group.BAND, Kind.WHOLE, "Length of the picture in rows.",
        otherwise="from the wrist and the shape", bounds=limits.ROWS,
    ),
    Option(
        "wrist", Group.BAND, Kind.LENGTH, "Wrist as 16cm, 6.3in or a size such as adult-medium.",
        otherwise="adult-medium, unless rows or a grid say how long", bounds=limits.WRIST_MM, common=True,
    ),
    Option(
        "room", Group.BAND, Kind.LENGTH, "Room at the wrist: how much longer than the wrist.",
        spell_flag(limits.USUAL_ROOM_MM), bounds=limits.ROOM_MM,
    ),
    Option(
        "gauge", Group.BAND, Kind.TEXT, "A saved swatch, a thread preset or a diameter as 0.7mm.",
        otherwise="from the kind of your threads", metavar="NAME",
    ),
    Option(
        "selvedge", Group.BAND, Kind.WHOLE, "Ground cells at each edge.",
        otherwise="chosen by the picture", bounds=Bounds(0, limits.MOST_STRANDS),
    ),
    Option("fill", Group.BAND, Kind.CHOICE, "What a band longer than its picture does.", "auto", words=FILLS),
    Option(
        "border", Group.BAND, Kind.SWITCH, "The same border on both sides of the picture.", "no", common=True,
    ),
    Option(
        "border-kind", Group.BAND, Kind.CHOICE, "What the border shows; asks for one, too.",
        otherwise="lines that cross", words=BORDERS,
    ),
    Option("left-handed", Group.TYING, Kind.SWITCH, "Rows begin at the right edge.", "no", common=True),
    Option(
        "hand-overs", Group.TYING, Kind.CHOICE, "Hand-overs in a row that you are willing to tie.",
        otherwise="few", words=tuple(EASE_OF), common=True,
    ),
    Option(
        "ease", Group.TYING, Kind.CHOICE, "The same under other names: plain is none, light few, full any.",
        otherwise="light", words=EASES,
    ),
    Option(
        "switching-rows", Group.TYING, Kind.WHOLE,
        "Extra rows that bring strands into place, at most; auto: those that pay.", "auto",
        bounds=limits.MOST_EXTRA, words=("auto",), common=True,
    ),
    Option(
        "joins", Group.TYING, Kind.WHOLE, "Strands that change thread on the way, at most.", "0",
        bounds=limits.MOST_EXTRA,
    ),
    Option(
        "share", Group.TYING, Kind.CHOICE, "Share the tying among strands of a thread.", "rows", words=LEVELS,
    ),
    Option(
        "longest", Group.CUTTING, Kind.LENGTH, "Longest base strand you like to work with.",
        spell_flag(limits.WORKABLE_MM), bounds=limits.ANY_LENGTH_MM,
    ),
    Option(
        "margin", Group.CUTTING, Kind.WHOLE, "Per cent cut in reserve.",
        otherwise="25, or less with a swatch", bounds=limits.MARGIN_PERCENT,
    ),
    Option(
        "pace", Group.CUTTING, Kind.NUMBER, "Your pace in seconds a knot.",
        otherwise="{:g} to {:g}".format(*limits.USUAL_PACE_S), bounds=limits.PACE_S,
    ),
    Option("start", Group.CUTTING, Kind.CHOICE, "How the band starts.", "straight", words=END_STYLES),
    Option("finish", Group.CUTTING, Kind.CHOICE, "How the band ends.", "straight", words=TAIL_STYLES),
    Option("taper", Group.CUTTING, Kind.SWITCH, "Pinch the ends.", "no"),
    Option(
        "tail", Group.CUTTING, Kind.LENGTH, "Length that hangs free at each end.",
        otherwise="by the style of the end", bounds=limits.ANY_LENGTH_MM,
    ),
    Option(
        "title", Group.RESULT, Kind.TEXT, "Name of the band.",
        otherwise="the letters, or the picture's name", common=True,
    ),
    Option(
        "out", Group.RESULT, Kind.FILE, "Folder of the result.",
        otherwise="output/TITLE", metavar="FOLDER", common=True, of_run=True,
    ),
    Option("replace", Group.RESULT, Kind.SWITCH, "Replace a former result.", "no", common=True, of_run=True),
    Option("advice", Group.RESULT, Kind.SWITCH, "Look for what would help.", "yes", of_run=True),
    Option(
        "time-limit", Group.RESULT, Kind.NUMBER, "Seconds for the whole plan.",
        otherwise="none", bounds=limits.TIME_LIMIT_S, metavar="SECONDS", of_run=True,
    ),
    Option(
        "effort", Group.RESULT, Kind.NUMBER, "How hard to search; 1 is usual, 0.1 for choices.", "1",
        bounds=limits.EFFORT, of_run=True,
    ),
    Option("seed", Group.RESULT, Kind.WHOLE, "Another search.", "0", bounds=limits.SEED, of_run=True),
    Option("quiet", Group.RESULT, Kind.SWITCH, "Print nothing.", "no", of_run=True),
)  # fmt: skip
"""In the order in which help lists them."""
BLOCKS: tuple[Option, ...] = (
    Option(
        "groups", Group.BLOCKS, Kind.TEXT, 'Threads and strands from left to right, as "navy 4, chalk 3".',
        metavar="GROUPS", common=True,
    ),
    Option(
        "switch", Group.BLOCKS, Kind.TEXT,
        'Which neighbours switch and which shows, as "1-2 left and 3-4 right, 2-3 left".',
        otherwise="every other pair in turn", metavar="MOVES", common=True,
    ),
    Option(
        "repeats", Group.BLOCKS, Kind.WHOLE, "Times all switches are done.",
        otherwise="as the wrist has room", bounds=Bounds(1, limits.MOST_REPEATS), common=True,
    ),
    Option("filled", Group.BLOCKS, Kind.SWITCH, "Tie where no switch does.", "yes", common=True),
)  # fmt: skip
"""What only a band of colour blocks asks for."""
JOBS = Option(
    "jobs", Group.RESULT, Kind.WHOLE, "How many are planned at the same time; 0 is one a core.", "0",
    bounds=limits.JOBS, common=True, of_run=True,
)  # fmt: skip
COPIES = Option(
    "copies", Group.RESULT, Kind.WHOLE, "Bands made alike; the cutting plan counts them all.", "1",
    bounds=limits.COPIES,
)  # fmt: skip
NAMED: dict[str, Option] = {option.name: option for option in (*OPTIONS, *BLOCKS, JOBS, COPIES)}
COLUMNS: tuple[Option, ...] = (*(option for option in OPTIONS if not option.of_run), COPIES)
"""What a list of orders has columns for."""
OF_BLOCKS: tuple[Option, ...] = (
    *BLOCKS,
    *(
        NAMED[name]
        for name in (
            "stash", "rows", "wrist", "room", "gauge", "start", "finish", "taper", "tail", "longest",
            "margin", "title", "out", "replace", "quiet",
        )
    ),
)  # fmt: skip
"""All that a band of colour blocks asks for."""
OF_BATCH: tuple[Option, ...] = (
    Option("orders", Group.RESULT, Kind.FILE, "A list of orders, CSV.", metavar="ORDERS", common=True),
    NAMED["stash"],
    replace(NAMED["out"], help="Folder of all results.", otherwise="output/orders"),
    JOBS,
    Option(
        "scheduler", Group.RESULT, Kind.TEXT, "Run them on the Dask cluster of this scheduler.",
        metavar="ADDRESS",
    ),
    *(NAMED[name] for name in ("effort", "seed", "quiet")),
)  # fmt: skip
"""What a batch asks for besides what its list says."""
OF_CHOICES: tuple[Option, ...] = tuple(
    NAMED[name]
    for name in (
        "picture", "letters", "height", "font", "grid", "background", "trim", "crop", "turn", "stash",
        "threads", "colours", "ground", "strands", "worked", "wrist", "gauge", "hand-overs", "ease",
        "title", "out", "replace", "jobs", "effort", "seed", "quiet",
    )
)  # fmt: skip
"""What bands to choose from are made of; whatever is not said differs between them."""

# ---------------------------------------------------------------- slips

SAME_OPTION = {
    "colors": "colours", "colour": "colours", "color": "colours", "initials": "letters", "text": "letters",
    "slack": "room", "handovers": "hand-overs", "lefthanded": "left-handed", "left-hand": "left-handed",
    "output": "out", "name": "title", "size": "wrist", "ends": "finish",
}  # fmt: skip
"""What else an option is called, by makers elsewhere and in older versions."""
SAME_WORD = {
    "center": "centre", "centred": "centre", "centered": "centre",
    "plait": "braid", "plaited": "braid", "braided": "braid",
    "row": "rows", "row-worked": "rows", "diagonals": "diagonal", "diagonal-worked": "diagonal",
    "lark's-head": "larks-head", "larkshead": "larks-head",
    "crop": "cover", "photograph": "photo",
}  # fmt: skip
"""What else a word of a choice is called."""
NOT_AN_OPTION = {
    "picture": "name the picture without a flag: hitchgrid plan buoy.png",
    "image": "name the picture without a flag: hitchgrid plan buoy.png",
    "center": "--fill centre lays the picture in the middle of the band",
    "centre": "--fill centre lays the picture in the middle of the band",
    "repeat": "--fill repeat shows the picture again and again",
    "plait": "--finish braid plaits the tails",
    "braid": "--finish braid braids the tails",
    "diagonal": "--worked diagonal ties in diagonals",
    "plain": "--hand-overs none keeps the leader from edge to edge",
    "width": "--strands N sets how wide the band is",
    "length": "--rows N sets how long the picture is, --wrist LENGTH how long the band",
    "thread": "--threads NAME,NAME names the threads",
    "photo": "--reduce photo takes the picture as a photo",
}
"""What leads to an option of another shape, in words."""

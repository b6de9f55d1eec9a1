"""The forms that lines of written instructions have, as patterns over the words in ``words.py``.

Each pattern is linear to match: names hold no separators and nothing is repeated inside a repetition.
"""

from __future__ import annotations

import re

from pipeline.band.knots import Knot
from pipeline.instructions import words

NUM = r"(\d{1,6})"
NAME = r"([^,;:()]{1,60})"
STRAND = rf"{NAME} \(strand {NUM}\)"
SPAN = rf"{NUM}(?:[–-]{NUM})?"
JOIN = rf"(?: {words.JOINING} {NAME} to strand {NUM})?"
KIND = "|".join(sorted((knot.value for knot in Knot), key=len, reverse=True))

THREAD = re.compile(rf"{NUM}\. {NAME} \(#[0-9a-f]{{6}}\)(?:, in the stash .*)?")
START = re.compile(rf"{words.START_ORDER}: (.+) \({NUM} strands\)\.")
SECTION = re.compile(
    rf"Section {NUM} of {NUM}: \w+, ({'|'.join(words.WORKED_WORDS.values())}), "
    rf"(?:rows? {SPAN}|{words.NO_ROWS})"
)
CHECK = re.compile(rf"Order after (row|step) {NUM}, left to right: (.+)\.")
AGAIN = re.compile(
    rf"(Row|Step)s? {SPAN}: as (row|step)s? {SPAN}(?:, (once|twice|{NUM} times))?"
    rf"(, {words.OTHER_STRANDS})?\."
)
NUMBERED = re.compile(rf"(Row|Step) {NUM}([,:] .+)\.")
ROW = re.compile(rf", ({words.RIGHTWARDS}|{words.LEFTWARDS}), {STRAND} leads: (.+)")
TIES = re.compile(
    rf"({words.LEADER_TIES}|{words.BASE_TIES}|{words.BASES_TIE}) {NUM} \({SPAN}\){JOIN}"
    rf"(?: then {STRAND} leads)?"
)
TAKE = re.compile(rf": {words.TAKE} {NUM} \({NAME}\) ({words.TO_THE_RIGHT}|{words.TO_THE_LEFT}): (.+)")
SIDE_BY_SIDE = re.compile(rf": {words.PAIRS} {NUM}: (.+)")
KNOTS = re.compile(rf"{NUM} ({KIND}){JOIN}(?: then {NAME} {words.GOES_ON})?")
SKIP = re.compile(rf"{words.SKIP} {NUM}")
NEXT = re.compile(rf"{words.SAME_WITH_NEXT} {NUM} there(?: \((.+)\))?")
OTHER = re.compile(rf"{NUM}(?: \({NAME}\))?")
COUNTED = re.compile(rf"{NUM} {NAME}")

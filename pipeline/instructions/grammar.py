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
COLUMNS = rf"\(columns? {SPAN}\)"
KIND = "|".join(sorted((knot.value for knot in Knot), key=len, reverse=True))

THREAD = re.compile(
    rf"{NUM}\. {NAME} \(#[0-9a-f]{{6}}(?:, in the stash .*)?\): {NUM} strands?(?:, [0-9.]+ m)?"
)
START = re.compile(rf"{words.START_ORDER}: (.+) \({NUM} strands\)\.")
SECTION = re.compile(
    rf"Section {NUM} of {NUM}: \w+, ({'|'.join(words.WORKED_WORDS.values())}), "
    rf"(?:rows? {SPAN}|{words.NO_ROWS})"
)
CHECK = re.compile(rf"{words.ORDER_AFTER} (row|step) {NUM}, left to right: ([^;]+); strands ([0-9, –-]+)\.")
CHECK_EACH = re.compile(rf"{words.ORDER_AFTER} {words.EACH_TIME}, left to right: ([^;]+)\.")
MEASURE = re.compile(rf"{words.MEASURE_AFTER} (row|step) {NUM}, {words.FROM_THE_KNOT}: (.+)\.")
LEFT = re.compile(rf"{STRAND} in position {NUM}: {NUM} cm, {words.TOO_SHORT} {NUM} cm")
AGAIN = re.compile(
    rf"(Row|Step)s? {SPAN}: as (row|step)s? {SPAN}(?:, (once|twice|{NUM} times))?"
    rf"(, {words.OTHER_STRANDS})?\.(?: {words.DONE}:((?: \[ \])+))?"
)
NUMBERED = re.compile(rf"(Row|Step) {NUM}(?: \({words.CHART_ROWS}s? {SPAN}\))?(?=[,:] )")
SHOWS = re.compile(rf"\. {words.SHOWS}( {words.EACH_TIME})?: (.+)\.$")
ROW = re.compile(rf", ({words.RIGHTWARDS}|{words.LEFTWARDS}): (.+)")
NAMED = re.compile(rf"{STRAND} (.+)")
CROSSING = re.compile(
    rf"(?:{words.TIES_OVER}(?: {NUM})? {COLUMNS}"
    rf"|{words.HELD}(?: {NUM})? (ties?) {words.OVER_IT} {COLUMNS}){JOIN}"
)
CHANGE = re.compile(rf"{words.CHANGE} {NUM}, {STRAND} {words.TURNS_BACK}{JOIN}")
TAKE = re.compile(rf": {words.TAKE} {NUM} \({NAME}\) ({words.TO_THE_RIGHT}|{words.TO_THE_LEFT}): (.+)")
SIDE_BY_SIDE = re.compile(rf": {words.PAIRS} {NUM}: (.+)")
KNOTS = re.compile(rf"{NUM} ({KIND}){JOIN}(?: {words.CHANGING_TO} {NAME})?")
SKIP = re.compile(rf"{words.SKIP} {NUM}")
NEXT = re.compile(rf"{words.SAME_WITH_NEXT} {NUM} there(?: \((.+)\))?")
OTHER = re.compile(rf"{NUM}(?: \({NAME}\))?")
SPANNED = re.compile(SPAN)
COUNTED = re.compile(rf"{NUM} {NAME}")

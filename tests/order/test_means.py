"""A band that cannot be finished is refused at once, with the size that can be."""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest
from PIL import Image

from cli.main import run
from pipeline.errors import ImpossibleError
from pipeline.order.means import available_bytes, refuse_beyond_means


@pytest.mark.parametrize("strands", [2, 24, 400])
@pytest.mark.parametrize("seconds", [0.6, 5.0, 60.0])
def test_the_size_that_is_offered_can_be_done_and_one_row_more_cannot(strands: int, seconds: float) -> None:
    def finishing_s(places: int) -> float:
        return 0.5 + 0.0012 * places

    rows = int((seconds - 0.5) / 0.0012 / strands) + 1
    with pytest.raises(ImpossibleError) as caught:
        refuse_beyond_means(rows, strands, seconds=seconds, finishing_s=finishing_s, memory=10**12)
    offered = re.match(r"(\d+) rows", caught.value.hint)
    if offered is None:
        assert caught.value.hint.startswith("Not even one")
    else:
        assert int(offered[1]) == rows - 1
        refuse_beyond_means(rows - 1, strands, seconds=seconds, finishing_s=finishing_s, memory=10**12)


def test_memory_is_looked_at_too() -> None:
    with pytest.raises(ImpossibleError, match=r"GB of memory"):
        refuse_beyond_means(5000, 400, memory=10**9)
    refuse_beyond_means(100, 24, memory=10**9)
    there = available_bytes()
    assert there is None or 0 < there < 2**60


def test_the_largest_band_in_a_short_time_is_refused_at_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Image.effect_noise((40, 100), 90).save(tmp_path / "noise.png")
    words = ("plan", str(tmp_path / "noise.png"), "--fit", "stretch", "--strands", "400", "--rows", "5000")
    began = time.process_time()
    with pytest.raises(SystemExit) as stop:
        run((*words, "--time-limit", "30", "--out", str(tmp_path / "band")))
    assert stop.value.code == 2
    assert re.search(r"5000 rows of 400 strands .* \d+ rows of so many", capsys.readouterr().err)
    assert time.process_time() - began < 10  # ten minutes, before
    assert not (tmp_path / "band").exists()

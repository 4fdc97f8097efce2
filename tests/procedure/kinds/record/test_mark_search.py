"""A start mark is found once it is whole, at its own frame, and never across lost sound."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.audio.port import Block
from bench.procedure.kinds.record.mark_search import FoundMark, MarkSearch
from bench.signals.start_mark import StartMark

RATE = 48000
BEGINS = 3 * RATE + 1234
"""Frame at which the mark begins, in the port's numbering; the sound begins at frame `FROM`."""
FROM = 10_000


def sound() -> NDArray[np.float64]:
    mark = StartMark(RATE, -20.0)
    samples = np.random.default_rng(1).standard_normal((8 * RATE, 2)) * 1e-4
    samples[BEGINS - FROM : BEGINS - FROM + mark.frames] += mark.render(0, mark.frames)
    return samples


def search(frames: int, lost_at: int = -1) -> FoundMark | None:
    """Search the sound block by block; one frame is lost before the block that contains `lost_at`."""
    looking, whole = MarkSearch(RATE), sound()
    for at in range(0, len(whole) - frames, frames):
        lost = int(at <= lost_at < at + frames)
        found = looking.hear(Block(whole[at : at + frames], FROM + at, lost))
        if found is not None:
            return found
    return None


@pytest.mark.parametrize("frames", [480, 960, 4801])
def test_it_is_found_at_its_frame(frames: int) -> None:
    found = search(frames)
    assert found is not None
    assert found.begins == pytest.approx(BEGINS, abs=0.001 * RATE)
    assert found.speed == pytest.approx(1.0, abs=1e-3)
    assert found.sound_from <= found.begins < found.sound_from + len(found.sound)


def test_across_lost_sound_it_is_not() -> None:
    assert search(960, lost_at=BEGINS - FROM + RATE // 2) is None


@pytest.mark.parametrize("how", [{"least_dbfs": -45.0}, {"not_before": BEGINS}])
def test_what_is_left_of_an_earlier_mark_is_passed_over(how: dict[str, float]) -> None:
    """The earlier one comes 1.5 s before, 30 dB weaker."""
    earlier = StartMark(RATE, -50.0)
    whole = sound()
    at = BEGINS - FROM - round(1.5 * RATE)
    whole[at : at + earlier.frames] += earlier.render(0, earlier.frames)
    assert _begins(MarkSearch(RATE), whole) == pytest.approx(FROM + at, abs=0.001 * RATE)
    assert _begins(MarkSearch(RATE, **how), whole) == pytest.approx(BEGINS, abs=0.001 * RATE)  # type: ignore[arg-type]


def _begins(looking: MarkSearch, whole: NDArray[np.float64]) -> int | None:
    for at in range(0, len(whole), 960):
        found = looking.hear(Block(whole[at : at + 960], FROM + at))
        if found is not None:
            return found.begins
    return None

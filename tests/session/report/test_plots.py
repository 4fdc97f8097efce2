"""The response plots, checked by their paths."""

from __future__ import annotations

import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

from bench.measure.method import Method
from bench.measure.verdict import Verdict
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.reader import read_session
from bench.session.report.plots import alternative, response_svg
from bench.session.report.tables import ResponseTable, responses
from tests.results import result
from tests.session.made_up import START, whole


def table(tmp_path: Path, which: int) -> ResponseTable:
    return responses(read_session(whole(tmp_path)).readings)[which]


def flat_response(values: list[float | None]) -> ResponseTable:
    verdict = Verdict(word="in", target=0.0, tolerance=2.0)
    return responses(
        tuple(
            ReadingRecord(
                f"r{n}",
                "s",
                "left",
                True,
                "reference tape",
                result("response", "left", value, frequency_hz=1000.0 * 2**n, method=Method("m")),
                verdict,
                START,
            )
            for n, value in enumerate(values)
        )
    )[0]


def curve(svg: str) -> list[tuple[float, float]]:
    """The points of the thick line, as left."""
    path = re.search(r'<path d="([^"]*)" clip-path="[^"]*" style="fill: none; stroke: #211d19; stroke-width: 1.6', svg)
    assert path
    numbers = re.findall(r"[ML] (-?[\d.]+) (-?[\d.]+)", path.group(1))
    return [(float(x), float(y)) for x, y in numbers]


def test_equal_steps_in_octaves_and_decibels_are_equal_on_paper() -> None:
    points = curve(response_svg([flat_response([0.0, -1.0, -2.0, -3.0])], "p"))
    across = [b[0] - a[0] for a, b in pairwise(points)]
    down = [b[1] - a[1] for a, b in pairwise(points)]
    assert max(across) - min(across) < 0.01
    assert max(down) - min(down) < 0.01
    assert min(across) > 10
    assert min(down) > 5


def test_a_tone_without_a_reading_breaks_the_curve() -> None:
    whole_curve = response_svg([flat_response([0.0, -1.0, -1.0, -1.0, 0.0])], "p")
    broken = response_svg([flat_response([0.0, -1.0, None, -1.0, 0.0])], "p")
    assert len(curve(whole_curve)) == 5
    path = re.search(
        r'<path d="([^"]*)" clip-path="[^"]*" style="fill: none; stroke: #211d19; stroke-width: 1.6', broken
    )
    assert path
    assert path.group(1).count("M") == 2
    assert len(curve(broken)) == 4


def test_two_plots_share_no_id(tmp_path: Path) -> None:
    drawn = [response_svg([table(tmp_path / str(n), n)], f"plot{n}") for n in range(2)]
    ids = [re.findall(r'\bid="([^"]*)"', svg) for svg in drawn]
    assert ids[0]
    assert not set(ids[0]) & set(ids[1])
    assert response_svg([table(tmp_path / "again", 0)], "plot0") == drawn[0]  # the same session, the same bytes


def test_the_words_have_range_and_stages(tmp_path: Path) -> None:
    said = alternative(table(tmp_path, 1))
    assert said.startswith("Response, record-replay, left and right, from 40 Hz to 12.5 kHz.")
    assert "As found, before cleaning between −14.25 and 1.02 dB." in said
    assert "As left between −0.62 and 1.05 dB." in said


def test_nothing_is_kept_between_plots_and_no_screen_is_needed() -> None:
    code = "import sys, bench.session.report.plots; print('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"
    assert done.stderr == ""

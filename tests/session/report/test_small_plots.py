"""The small plots: drawn if there is something to draw, and described in words."""

from __future__ import annotations

import re
from dataclasses import replace

from bench.measure.reading import Channel
from bench.measure.stage import Stage
from bench.procedure.model.targets import judge
from bench.procedure.state.events import CurveTaken
from bench.procedure.state.journal import ReadingRecord
from bench.session.report.small_plots import SmallPlot, small_plots
from bench.tape.mistracking_map import ReplayErrors, mistracking_map
from tests.results import result
from tests.session.made_up import AZIMUTH, START
from tests.session.page import Page


def record(
    quantity: str, value: float | None, hz: float, stage: Stage = "left", channel: Channel = "left"
) -> ReadingRecord:
    reading = result(quantity, channel, value, 0.01, frequency_hz=hz)
    verdict = judge(reading, AZIMUTH) if quantity == "azimuth_delay" else None
    return ReadingRecord(f"{quantity}{hz}{stage}", "s", stage, False, "reference tape", reading, verdict, START)


def curve(trimmer: str, *values: float, step: str = "third", quantity: str = "response") -> CurveTaken:
    channel: Channel = "left" if trimmer.endswith("left") else "right"
    points = tuple((10.0 * n, value) for n, value in enumerate(values))
    return CurveTaken(quantity, trimmer, channel, "degrees", "dB", points, frequency_hz=10000.0, step=step, time=START)


def titles(plots: list[SmallPlot]) -> list[str]:
    for plot in plots:
        svg = Page(plot.svg)
        assert svg.wrong == []
        picture = svg.root.all("svg")[0]
        assert picture.attributes["role"] == "img"
        assert len(picture.attributes["aria-label"]) > 20
        assert not picture.all("text")
        assert all(i.startswith("small-") for i in re.findall(r'\bid="([^"]*)"', plot.svg))
    return [plot.title for plot in plots]


def test_nothing_to_draw_is_no_plot() -> None:
    assert small_plots((), (), None, "") == []
    nothing = record("azimuth_delay", None, 10000.0), record("level", -12.0, 400.0)
    assert small_plots(nothing, (curve("bias left", 1.0, 2.0),), None, "") == []


def test_azimuth_by_stage_with_its_limits() -> None:
    records = (record("azimuth_delay", 21.4, 10000.0, "found-clean"), record("azimuth_delay", -0.7, 10000.0))
    recorded = replace(record("azimuth_delay", 2.0, 10000.0), source="record-replay")
    (plot,) = small_plots((*records, recorded), (), None, "")
    assert titles([plot]) == ["Azimuth"]
    said = Page(plot.svg).root.all("svg")[0].attributes["aria-label"]
    assert said.startswith(
        "Azimuth: replay, after cleaning 21.400 ± 0.010 µs; replay, as left −0.700 ± 0.010 µs; record,"
    )


def test_flutter_by_its_parts_names_the_largest() -> None:
    records = tuple(
        record("flutter_component", v, hz) for hz, v in ((0.8, 0.02), (7.5, 0.09), (50.0, 0.01), (3.1, 0.04))
    )
    earlier = record("flutter_component", 0.5, 7.5, "found-clean")
    (plot,) = small_plots((earlier, *records), (), None, "")
    assert titles([plot]) == ["Flutter by its parts"]
    assert "the largest: 0.090 ± 0.010 % at 7.5 Hz, 0.040" in plot.svg


def test_bias_is_drawn_as_it_was_turned_last_by_what_a_curve_is_of() -> None:
    events = (
        curve("bias left", -3.0, 1.0, -1.0),
        curve("bias left", 0.0, 4.0, 2.0, step="seventh"),
        curve("record equalisation right", 1.0, 2.0, 3.0, step="bias-again"),
    )
    (plot,) = small_plots((), events, None, "")
    assert titles([plot]) == ["Bias"]
    assert "left, 10 kHz from 0.00 to 4.00 dB" in plot.svg
    assert "right" not in plot.svg
    other_name = curve("B1 left", 1.0, 2.0, 1.5, quantity="overbias")
    assert titles(small_plots((), (other_name,), None, "")) == ["Bias"]
    assert small_plots((), events[2:], None, "") == []


def test_the_map_of_mistracking_says_its_worst() -> None:
    (plot,) = small_plots((), (), mistracking_map("type-b", ReplayErrors(-3.0, ((10000.0, -4.0),))), "as left")
    assert titles([plot]) == ["Heard with Type B"]
    worst = mistracking_map("type-b", ReplayErrors(-3.0, ((10000.0, -4.0),)))
    assert f"at worst −{abs(worst.worst_db):.2f} dB" in plot.svg
    (flat,) = small_plots((), (), mistracking_map("type-b", ReplayErrors(0.0)), "as left")
    assert titles([flat]) == ["Heard with Type B"]

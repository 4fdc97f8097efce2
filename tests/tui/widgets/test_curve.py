from __future__ import annotations

import re

from bench.procedure.state.snapshot import Curve, FlutterPart, FoundPoint
from bench.tui.widgets.curve import curve_lines
from bench.tui.widgets.flutter import part_lines, spectrum_lines
from bench.tui.widgets.phase import phase_lines
from bench.tui.widgets.response import response_lines
from tests.tui import samples
from tests.tui.screen_driver import texts


def bias(points: int = 13) -> Curve:
    made = tuple((float(d), -20.0 - ((d - 10) / 30) ** 2) for d in range(-60, 61, 10))[:points]
    passed = points > 9
    return Curve(
        "left",
        "left, 10 kHz",
        "degrees",
        made,
        "dBFS",
        peak=(10.0, -20.0) if passed else None,
        aim=-22.0 if passed else None,
    )


def test_bias_shows_its_peak_what_to_come_to_and_where_it_stands() -> None:
    lines = texts(curve_lines(bias(), 50, 10))
    assert lines[0] == "10 kHz dBFS  ● now ^ peak −20.0 ┄ aim"
    assert lines[1].startswith(" −20.0┤")
    assert "^" in lines[1]
    assert [line.startswith(" −22.0┤") for line in lines].count(True) == 1
    assert sum("●" in line for line in lines[1:]) == 1
    assert lines[-1].split() == ["−60°", "+60°"]


def test_before_the_peak_there_is_none() -> None:
    lines = texts(curve_lines(bias(4), 50, 10))
    assert "^" not in "".join(lines)
    assert "aim" not in lines[0]


def test_a_ladder_names_its_best_position() -> None:
    points = tuple((float(n), -2.0 + 0.5 * n) for n in range(1, 10))
    lines = texts(curve_lines(Curve("right", "right level", "position", points, "dB", aim=0.0, best=4.0), 44, 8))
    assert "◆ best: 4" in lines[0]
    assert sum("◆" in line for line in lines[1:]) == 1
    assert lines[-1].split() == ["position", "1", "9"]


def test_one_point_is_drawn_and_no_room_draws_nothing() -> None:
    assert any("●" in line for line in texts(curve_lines(bias(1), 30, 5))[1:])
    assert curve_lines(bias(), 20, 10) == []
    assert curve_lines(bias(), 50, 3) == []


def test_the_phase_figure_is_a_line_in_phase_and_out_of_phase_and_a_ring_at_a_quarter() -> None:
    def dots(degrees: float) -> list[str]:
        return texts(phase_lines(degrees, 5))

    assert dots(0.0)[0].startswith("    ")  # up at the right
    assert dots(180.0)[0][0] != " "  # up at the left
    ring = dots(90.0)
    assert ring[2].strip().count(" ") > 4  # hollow
    assert dots(-90.0)[2].strip().count(" ") > 4


def test_flutter_is_listed_by_parts_with_their_share() -> None:
    parts = (FlutterPart("capstan", 5.41, 0.043, 0.62), FlutterPart("unknown", 31.0, 0.01, 0.05))
    lines = texts(part_lines(parts, 58, 10))
    assert lines[1].split()[:3] == ["capstan", "5.41", "0.043"]
    assert lines[1].endswith("62 %")
    assert lines[2].split()[:3] == ["unknown", "31.00", "0.010"]
    assert len(part_lines(parts * 9, 58, 4)) == 4


def test_the_spectrum_stands_on_a_logarithmic_axis() -> None:
    spectrum = tuple((0.2 * 1.1**n, 1.0 if n == 35 else 0.0) for n in range(73))
    lines = texts(spectrum_lines(spectrum, 60, 8))
    assert lines[0] == "spectrum, % peak"
    assert lines[-1].endswith("Hz")
    at = {m[0]: m.start() for m in re.finditer(r"[0-9.]+", lines[-1])}
    assert abs((at["20"] - at["2"]) - (at["10"] - at["1"])) <= 1
    assert abs((at["20"] - at["2"]) - (at["2"] - at["0.2"])) <= 1
    assert spectrum_lines(spectrum, 20, 8) == []


def test_what_was_found_stands_beside_what_is_left() -> None:
    tones = samples.tone_rows(12)
    found = tuple(FoundPoint(c, hz, -2.8, "found-clean") for c in ("left", "right") for hz in (1000.0, 500.0))
    with_found = texts(response_lines(tones, 70, 16, found))
    without = texts(response_lines(tones, 70, 16))
    assert "as found" in with_found[0]
    assert "as found" not in without[0]
    assert "".join(with_found[1:]).count("b") == 2

from __future__ import annotations

from bench.procedure.model.targets import Target, judge
from bench.procedure.state.snapshot import ToneRow
from bench.tui.widgets.line_widget import line_width
from bench.tui.widgets.response import points_of, response_lines
from tests.tui import samples
from tests.tui.screen_driver import texts


def tone(hz: float, left: float, right: float, target: Target = samples.RESPONSE) -> ToneRow:
    readings = tuple(
        (r, judge(r, target))
        for r in (
            samples.reading(left, "left", "response", frequency_hz=hz),
            samples.reading(right, "right", "response", frequency_hz=hz),
        )
    )
    return ToneRow(f"{hz}", f"{hz:g} Hz", "done", hz, readings)


def test_points_are_errors_from_the_target_lowest_frequency_first() -> None:
    lifted = Target(value=1.0, unit="dB", tolerance=2.0, source="made up")
    assert points_of((tone(1000.0, 1.5, 0.0, lifted), tone(100.0, 1.0, 1.0, lifted))) == {
        "left": [(100.0, 0.0, 2.0), (1000.0, 0.5, 2.0)],
        "right": [(100.0, 0.0, 2.0), (1000.0, -1.0, 2.0)],
    }


def test_one_tone_is_no_response() -> None:
    assert points_of((tone(1000.0, 0.0, 0.0),)) == {}
    assert response_lines((tone(1000.0, 0.0, 0.0),), 60, 12) == []


def test_flat_left_and_drooping_right() -> None:
    tones = tuple(tone(hz, 0.0, 0.0 if hz < 5000 else -3.0) for hz in (63.0, 1000.0, 10000.0))
    assert texts(response_lines(tones, 46, 12)) == [
        "dB off target  L  R  B both",
        "   +4│",
        "     │",
        "     │⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂⠂",
        "     │",
        "    0│ B⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤B⢤⡤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤⠤L",
        "     │                       ⠈⠉⠒⠤⢄⡀",
        "     │⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠄⠌⠍⠖⠦⢄⣄⠄⠄⠄⠄⠄⠄",
        "     │                                  ⠉⠒⠢⢄R",
        "   −4│",
        "     └─┴────┴────┴────┴────┴────┴────┴────┴───",
        "      63   125  250  500  1k   2k   4k   8k Hz",
    ]


def test_the_axis_is_logarithmic() -> None:
    tones = tuple(tone(hz, 0.0, 0.0) for hz in (100.0, 1000.0, 10000.0))
    lines = texts(response_lines(tones, 66, 12))
    row = next(line for line in lines if line.count("B") == 3)
    first, second, third = (n for n, sign in enumerate(row) if sign == "B")
    assert abs((third - second) - (second - first)) <= 1
    assert lines[-1].split()[-1] == "Hz"
    assert "1k" in lines[-1].split()


def test_all_lines_fit() -> None:
    tones = tuple(tone(hz, 30.0, -70.0) for hz in (20.0, 1000.0, 20000.0))
    assert all(line_width(line) <= 40 for line in response_lines(tones, 40, 10))


def test_no_room_draws_nothing() -> None:
    tones = tuple(tone(hz, 0.0, 0.0) for hz in (100.0, 1000.0))
    assert response_lines(tones, 20, 12) == []
    assert response_lines(tones, 60, 5) == []


def test_on_a_linear_axis_the_film_that_fits_is_drawn_and_named() -> None:
    """54.6 dB for each wavelength of distance (Wallace, 1951): at 47.625 mm/s a film of 1 µm costs 9.2 dB at 8 kHz."""
    wide = Target(value=0.0, unit="dB", tolerance=2.0, source="made up")
    tones = tuple(tone(hz, -54.6 * hz / 47625.0, 0.0, wide) for hz in (400.0, 1000.0, 2000.0, 4000.0, 8000.0))
    drawn = texts(response_lines(tones, 70, 14, film_at=47.625))
    assert "film that fits: left 1.0 µm" in drawn[0]
    assert "right" not in drawn[0]
    columns = [drawn[-1].index(name) for name in ("4k", "8k")]
    assert abs(columns[1] - 2 * columns[0]) <= 7, "equal distances for equal hertz"


def test_a_knee_is_no_film() -> None:
    knee = tuple(tone(hz, 0.0 if hz < 5000 else -8.0, 0.0) for hz in (400.0, 1000.0, 2000.0, 4000.0, 8000.0))
    assert "film that fits: none" in texts(response_lines(knee, 70, 14, film_at=47.625))[0]

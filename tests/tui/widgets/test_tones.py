from __future__ import annotations

from dataclasses import replace

from bench.measure.reading import NoReading, Reading
from bench.measure.verdict import Verdict
from bench.tui.widgets.tones import tone_lines, worst, worst_quantity
from tests.tui import samples
from tests.tui.screen_driver import texts


def test_tones_are_ticked_as_they_come() -> None:
    assert texts(tone_lines(samples.tone_rows(2)[:4], 46, 8)) == [
        "2 of 4 tones           left   right",
        "✓ 315 Hz, −20 dB       0.20   −0.10 dB   in",
        "✓ 40 Hz, −20 dB        0.20   −0.10 dB   in",
        "● 63 Hz, −20 dB       −33.1   −33.8 dBFS",
        "· 125 Hz, −20 dB",
    ]


def test_a_long_list_follows_the_tone_that_is_due() -> None:
    lines = texts(tone_lines(samples.tone_rows(9), 46, 6))
    assert len(lines) == 6
    assert any(line.startswith("● 8 kHz") for line in lines)


def test_a_missing_tone_says_so() -> None:
    row = replace(samples.tone_rows(0)[3], state="missing")
    assert texts(tone_lines((row,), 46, 4))[1] == "✗ 125 Hz, −20 dB    missing"


def test_a_purpose_gives_way_to_the_figures() -> None:
    row = replace(samples.tone_rows(1)[0], label="12.5 kHz, −20 dB (response)")
    assert texts(tone_lines((row,), 46, 4))[1].startswith("✓ 12.5 kHz, −20 dB  ")
    assert "(response)" in texts(tone_lines((row,), 70, 4))[1]


def test_the_worst_verdict_counts() -> None:
    good, bad = Verdict(word="in", target=0.0), Verdict(word="out", target=0.0)
    reading, other = samples.reading(1.0, "left", "response"), samples.reading(9.0, "left", "azimuth_delay")
    assert worst(((reading, good), (other, bad))) == "out"
    assert worst(((reading, None),)) is None
    assert worst_quantity(((reading, good), (other, bad))) == [(other, bad)]
    assert worst_quantity(()) == []


def test_one_figure_for_what_is_between_the_channels() -> None:
    delay = samples.reading(3.2, "left-right", "azimuth_delay")
    row = replace(samples.tone_rows(1)[0], readings=((delay, Verdict(word="in", target=0.0, tolerance=6.0)),))
    assert texts(tone_lines((row,), 46, 4))[1] == "✓ 315 Hz, −20 dB              3.200 µs   in"


def test_a_kept_figure_has_the_place_of_its_uncertainty_as_far_as_its_column_has_room() -> None:
    def said(value: float, uncertainty: float) -> str:
        reading = Reading("response", "left", value, uncertainty)
        row = replace(samples.tone_rows(1)[0], readings=((reading, None),))
        return texts(tone_lines((row,), 46, 4))[1].split()[5]

    assert said(-12.0432, 0.21) == "−12.04"
    assert said(-12.0432, 0.00021) == "−12.04"
    assert said(-127.0, 12.0) == "−127"
    assert said(-127.0, 120.0) == "−130"


def test_no_reading_is_no_figure() -> None:
    none = NoReading("response", "left", "silence")
    row = replace(samples.tone_rows(1)[0], readings=((none, Verdict(word="no reading", target=0.0)),))
    line = texts(tone_lines((row,), 46, 4))[1]
    assert line.startswith("– 315 Hz")
    assert line.endswith("none")


def test_what_was_measured_and_not_judged_has_no_tick() -> None:
    level = samples.reading(6.5, "left", "record_replay_level")
    row = replace(samples.tone_rows(1)[0], readings=((level, None),))
    assert texts(tone_lines((row,), 46, 4))[:2] == [
        "0 of 1 tone            left   right".replace("0", "1"),
        "▪ 315 Hz, −20 dB       6.50         dB",
    ]

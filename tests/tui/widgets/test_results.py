from __future__ import annotations

from dataclasses import replace

import pytest

from bench.measure.reading import Bound, Reading
from bench.procedure.model.targets import judge
from bench.tui.widgets.results import drawn_lines, earlier_tones, last_line, last_readings, step_lines, table_lines
from tests.tui import samples
from tests.tui.screen_driver import texts


def test_the_last_result_stays_in_one_line_until_the_next_step_has_one() -> None:
    shown = samples.measured(samples.cleaning())
    (line,) = texts([last_line(shown, 100)])
    assert line.startswith("Set the replay level  ✓ left −12.04 dBFS  ✓ right −11.90 dBFS")
    assert line.endswith("v results")
    before = replace(shown, kept=shown.kept[:-2])
    (line,) = texts([last_line(before, 200)])
    assert line.startswith("Response  ✓ 19 in  ✗ 5 out  ✗ right 8 kHz −2.66 dB  ✗ left 10 kHz −2.30 dB")
    assert last_line(samples.cleaning(), 100) == []
    (line,) = texts([last_line(shown, 66)])
    assert line.startswith("Set the repl…  ✓ left −12.04 dBFS  ✓ right −11.90 dBFS"), "the title is cut, not a figure"


def test_the_table_has_every_quantity_with_what_is_out_on_top() -> None:
    lines = texts(table_lines(samples.measured(samples.cleaning()), 71))
    assert lines[2:5] == [
        "Reference tape, not in",
        "✗ Response, right, 8 kHz        −2.66        – dB   0 ± 2        out",
        "✗ Response, left, 10 kHz        −2.30        – dB   0 ± 2        out",
    ]
    assert "✓ Level, left                  −13.60   −12.04 dBFS −12 ± 0.5    in" in lines
    assert sum(" dB " in line for line in lines) == 24
    assert texts(table_lines(samples.cleaning(), 71)) == ["Nothing has been measured yet."]


def test_a_reading_without_a_target_does_not_hide_a_verdict() -> None:
    level, again = (
        replace(samples.reading(db), quantity="record_replay_level", frequency_hz=400.0) for db in (-2.76, -2.74)
    )
    judged = samples.kept("level", "found-clean", [(level, judge(level, samples.LEVEL))])
    of_a_response = samples.kept("response", "found-clean", [(again, None)])
    lines = texts(table_lines(replace(samples.measured(samples.cleaning()), kept=(*judged, *of_a_response)), 75))
    (row,) = [line for line in lines if "400 Hz" in line]
    assert row.startswith("✗")
    assert "−2.76" in row


@pytest.mark.parametrize(("value", "bound", "said"), [(0.0402, "at most", "≤ 0.0402"), (72.7, "at least", "≥ 72.7")])
def test_a_bound_is_whole_in_a_narrow_column(value: float, bound: Bound, said: str) -> None:
    reading = Reading("third_harmonic", "left", value, 0.0, bound=bound)
    kept = samples.kept("third", "left", [(reading, None)])
    shown = replace(samples.measured(samples.cleaning()), kept=tuple(kept))
    assert any(said in line for line in texts(table_lines(shown, 75)))
    assert any(f"{bound} {said[2:]}" in line for line in texts(table_lines(shown, 150)))


def test_a_long_title_is_shortened_before_the_channel_and_the_tone() -> None:
    level = replace(samples.reading(-0.63), quantity="source_level", frequency_hz=400.0)
    kept = samples.kept("source", "left", [(level, judge(level, samples.LEVEL))])
    lines = texts(table_lines(replace(samples.measured(samples.cleaning()), kept=tuple(kept)), 71))
    assert any(line.startswith("✗ Source level at…  L 400 Hz ") for line in lines), lines


def test_readings_of_an_owners_tape_are_results_too() -> None:
    (kept,) = samples.kept("speed", "found-clean", [(samples.reading(2.12), None)])
    own = replace(kept, source="owner's tape")
    lines = texts(table_lines(replace(samples.measured(samples.cleaning()), kept=(own,)), 75))
    assert "Owner's tape" in lines
    assert any(" 2.12" in line for line in lines)


def test_a_step_gone_back_to_shows_what_it_read() -> None:
    shown = samples.measured(samples.cleaning())
    assert shown.step is not None
    back = replace(shown, step=replace(shown.step, id="level"))
    lines = texts(step_lines(last_readings(back, "level"), 75, 10))
    assert [line[:15] for line in lines] == ["read here befor", "✓ Level, left  ", "✓ Level, right "]
    listening = replace(back, step=replace(shown.step, id="found-response"), tones=samples.tone_rows(0))
    waiting = replace(listening, tones=tuple(replace(t, state="waiting", readings=()) for t in listening.tones))
    assert [len(t.readings) for t in earlier_tones(waiting)] == [2] * 12
    heard = replace(waiting, tones=(replace(waiting.tones[0], state="done"), *waiting.tones[1:]))
    assert earlier_tones(heard) == heard.tones


def test_the_curve_of_the_last_step_is_drawn() -> None:
    shown = samples.measured(samples.cleaning())
    assert texts(drawn_lines(shown, 70))[:2] == ["Response", "dB off target  L  R  B both"]
    turned = replace(shown, last_curves=samples.biased().curves)
    assert texts(drawn_lines(turned, 70))[0] == "Set the replay level"
    assert "^ peak" in texts(drawn_lines(turned, 70))[1]


def test_a_reading_that_is_close_stands_between_out_and_in() -> None:
    got = samples.reading(-12.48)
    close = samples.kept("level", "left", [(got, judge(got, samples.LEVEL))])
    shown = samples.measured(samples.cleaning())
    lines = texts(table_lines(replace(shown, kept=(*shown.kept, *close)), 75))
    assert lines[8].startswith("~ Level, left")

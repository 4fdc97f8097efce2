from __future__ import annotations

from dataclasses import replace

from bench.measure.reading import NoReading
from bench.procedure.kinds.record.passage import REWIND
from bench.procedure.state.snapshot import Prompt
from bench.tui.presentation import kept_line, key_prompt
from bench.tui.widgets.footer import bar_lines
from tests.tui import samples
from tests.tui.screen_driver import texts


def test_what_is_kept_says_which_quantity_and_which_tone() -> None:
    left = samples.reading(-2.9, "left", "response", frequency_hz=12500.0)
    right = samples.reading(-17.0, "right", "response", frequency_hz=12500.0)
    noise = samples.reading(54.0, "left", "signal_to_noise")
    shown = samples.cleaning()
    last = tuple((r, None) for r in (left, right, noise))
    assert kept_line(replace(shown, last=last)) == (
        "kept: response at 12.5 kHz left −2.900 ± 0.040 dB, right −17.000 ± 0.040 dB, "
        "signal to noise left 54.000 ± 0.040 dB"
    )
    none = NoReading("level", "left", "it is silent")
    assert kept_line(replace(shown, last=((none, None),))) == "kept: level left no reading"
    assert kept_line(shown) == ""


def test_seconds_left_stand_behind_what_is_waited_for() -> None:
    shown = samples.listening(0, prompt=Prompt("wait", "Tones are being sent and recorded", left_s=38))
    assert key_prompt(shown) == ("", "Tones are being sent and recorded: 38 s left", False)


def test_what_is_to_be_done_at_the_machine_stands_in_the_bar_without_a_key() -> None:
    asked = key_prompt(samples.listening(0, prompt=Prompt("wait", REWIND, by_hand=True)))
    assert asked[0] not in ("", "space", "enter")
    line = bar_lines(asked, 80, 3)[0]
    assert texts([line])[0].split() == [asked[0], *REWIND.split()]
    assert {role for _, role in line} == {"keycap", "bar"}
    quiet = bar_lines(key_prompt(samples.listening(0)), 80, 3)[0]
    assert {role for _, role in quiet} == {"quiet"}

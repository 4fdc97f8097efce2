from __future__ import annotations

from bench.procedure.kinds.record.passage import REWIND
from bench.procedure.state.snapshot import Prompt
from bench.tui.presentation import key_prompt
from bench.tui.widgets.footer import bar_lines
from tests.tui import samples
from tests.tui.screen_driver import texts


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

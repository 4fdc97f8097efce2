from __future__ import annotations

from dataclasses import replace

import pytest

from bench.procedure.state.snapshot import InputView
from bench.tui.widgets.header import job_lines, sound_line, sound_trouble, title_line
from bench.tui.widgets.line_widget import line_width
from tests.tui import samples
from tests.tui.screen_driver import texts


def text(line: list[tuple[str, str]]) -> str:
    return texts([line])[0]


def test_what_is_on_the_bench() -> None:
    assert texts(job_lines(samples.JOB, 100)) == [
        "Lanternhill front-room deck · Lanternhill everyday ferric · Lanternhill cassette reference",
        "4.76 cm/s (1⅞ ips) · 120 µs + 3180 µs · 0 dB is 250 nWb/m (DIN)",
    ]


def test_a_short_line_keeps_a_part_of_each_name_and_the_stage() -> None:
    short = texts(job_lines(samples.JOB, 60))[0]
    assert short == "Lanternhill front… · Lanternhill every… · Lanternhill casse…"
    step = samples.step(title="Replay response from the reference tape, all of it", stage="found-dirty")
    line = text(title_line(step, 78))
    assert "as found, before cleaning" in line
    assert line.startswith(" Replay re")
    assert "step 9 of 24" in line


def test_a_title_takes_the_room_of_the_bar() -> None:
    step = samples.step(title="The source at the output", stage="found-dirty", index=3, total=64)
    shorter = " The source at the output  as found, before cleaning step 3 of 64 ╸──────────"
    assert text(title_line(step, len(shorter) + 1)) == shorter
    narrow = text(title_line(step, 68))
    assert narrow.startswith(" The source at the output  as found, before cleaning ")
    assert narrow.endswith("step 3 of 64")


def test_lost_sound_is_said_in_place_of_what_is_sent() -> None:
    lost = replace(samples.SOUND, lost=True)
    assert text(sound_line(lost, "400 Hz", 120)).endswith("! sound was lost: the computer is busy")


def test_meters_of_both_channels() -> None:
    assert text(sound_line(samples.SOUND, "", 78)) == (
        "peak dBFS  L ━━━━━━━━━╸─┊ −12.3  R ━━━━━━━━━╸─┊ −13.1         practice machine"
    )


def test_figures_may_lag_behind_the_bars() -> None:
    line = text(sound_line(samples.SOUND, "", 78, (-40.0, -41.0)))
    assert "L ━━━━━━━━━╸─┊ −40.0" in line


def test_digital_silence_and_one_channel() -> None:
    line = text(sound_line(replace(samples.SOUND, peak_dbfs=(None,)), "", 78))
    assert line.startswith("peak dBFS  M ───────────┊     –")


def test_full_scale_fills_the_meter() -> None:
    assert "L ━━━━━━━━━━━━   0.0" in text(sound_line(replace(samples.SOUND, peak_dbfs=(0.0, -60.0)), "", 78))


def test_what_is_sent_is_said() -> None:
    assert text(sound_line(samples.SOUND, "400 Hz at −12.0 dBFS", 90)).endswith("▶ 400 Hz at −12.0 dBFS")


@pytest.mark.parametrize(
    ("change", "port_change", "said"),
    [
        ({}, {}, ""),
        ({"clipping": True}, {}, "clipping"),
        ({"silent": True}, {}, "silence"),
        ({"silent": True}, {"state": "closed"}, ""),
        ({"clipping": True}, {"state": "lost"}, "device lost"),
        ({}, {"state": "stalled"}, "no sound comes"),
        ({}, {"state": "ended"}, "the file is over"),
    ],
)
def test_trouble_in_words(change: dict[str, bool], port_change: dict[str, str], said: str) -> None:
    port = replace(samples.PORT, **port_change)  # type: ignore[arg-type]
    sound = InputView((-12.0, -12.0), clipping=False, silent=False, port=port)
    assert sound_trouble(replace(sound, **change)) == said  # type: ignore[arg-type]
    assert said in text(sound_line(replace(sound, **change), "", 78))  # type: ignore[arg-type]


def test_where_in_the_procedure() -> None:
    line = title_line(replace(samples.step(), stage="found-clean"), 78)
    assert line_width(line) == 78
    assert text(line).startswith(" Set the replay level  as found, after cleaning  ")
    assert "step 9 of 24 ━━━━╸───────" in text(line)


def test_the_bar_never_overflows() -> None:
    for index in range(1, 25):
        assert line_width(title_line(replace(samples.step(), index=index), 78)) == 78

"""Tapes from before a line-up, on made-up machines with known properties."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from bench.cli import main
from bench.measure.reading import Channel
from bench.procedure.state.events import Turned
from bench.session.compare.earlier_tapes import choice, earlier_tapes
from bench.session.compare.earlier_tapes_text import choice_lines, earlier_tapes_paragraph
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from bench.tape.mistracking_map import ReplayErrors, mistracking_map
from tests.session.fleet_of import HZ, Machine, delay, exchange, read_loss, session, tilt_loss

SIDES: tuple[Channel, ...] = ("left", "right")
FOUND = {
    2: Machine("Deck", 2, -1.2, -0.8, -2.0, -1.5, replay_tilt=6.0, fast_percent=0.7),
    3: Machine("Deck", 3, 0.8, -1.4, 1.0, -4.0, replay_tilt=-2.0, record_tilt=3.0, fast_percent=-0.4),
}
LEFT = {
    2: Machine("Deck", 2, 0.1, -0.1, 0.2, 0.1, replay_tilt=0.3, fast_percent=0.05),
    3: Machine("Deck", 3, -0.1, 0.1, -0.2, 0.3, replay_tilt=-0.2, record_tilt=0.1),
}


def lined_up(workspace: Path, heads: int) -> SessionRecord:
    return read_session(session(workspace, LEFT[heads], found=FOUND[heads]))


@pytest.mark.parametrize("heads", [2, 3])
def test_they_play_as_heads_and_amplifiers_make_them(heads: int, tmp_path: Path) -> None:
    before, after = FOUND[heads], LEFT[heads]
    told = earlier_tapes(lined_up(tmp_path, heads))
    assert (told.recorded, told.replayed) == ("as found, after cleaning", "as left")
    for side in SIDES:
        assert told.level[side].value == pytest.approx(exchange(before, after, 400.0)[0])
        for hz in HZ:
            assert told.response[side, hz].value == pytest.approx(exchange(before, after, hz)[1], abs=1e-6)
    assert told.speed is not None
    assert told.azimuth_loss is not None
    assert told.mistracking is not None
    assert told.speed.value == pytest.approx(after.fast_percent - before.fast_percent)
    assert told.speed.uncertainty == pytest.approx(0.1 * 2**0.5)
    tilt = before.written_tilt - after.replay_tilt
    assert told.azimuth_loss.value == pytest.approx(tilt_loss(tilt, 10_000.0), abs=1e-6)
    treble = tuple((hz, exchange(before, after, hz)[1]) for hz in HZ if hz != 400.0)
    heard = mistracking_map("type-b", ReplayErrors(exchange(before, after, 400.0)[0], treble)).worst_db
    assert told.mistracking.worst.value == pytest.approx(heard, abs=0.02)


@pytest.mark.parametrize("heads", [2, 3])
def test_what_each_choice_gives(heads: int, tmp_path: Path) -> None:
    before, right = FOUND[heads], Machine("Right", heads)
    found = choice(lined_up(tmp_path, heads))
    for told, recorded, replayed in (
        (found.own_if_kept, before, before),
        (found.others_if_kept, right, before),
        (found.own_if_standard, before, right),
    ):
        level, treble = exchange(recorded, replayed, 10_000.0)
        assert told.level["left"].value == pytest.approx(level)
        if recorded is replayed:  # as read, with what crosstalk makes of the tilt
            tilt = before.written_tilt - before.replay_tilt
            treble += read_loss(tilt, 10_000.0) - tilt_loss(tilt, 10_000.0)
        assert told.response["right", 10_000.0].value == pytest.approx(treble, abs=1e-6)
        assert told.azimuth is not None
        assert told.azimuth.value == pytest.approx(delay(recorded.written_tilt) - delay(replayed.replay_tilt))
        assert told.speed is not None
        assert told.speed.value == pytest.approx(replayed.fast_percent - recorded.fast_percent)
    # Record to replay is read directly, on another tape than the owner's: tape to tape ±0.3 dB, common practice.
    assert found.own_if_kept.level["left"].uncertainty == pytest.approx(math.hypot(0.1, 0.3))
    assert found.others_if_kept.level["left"].uncertainty == pytest.approx(0.1)


def test_the_paragraph_of_the_report(tmp_path: Path) -> None:
    told = earlier_tapes_paragraph(lined_up(tmp_path, 2))
    assert told.startswith(
        "Your own tapes from before this line-up will play on it with level −0.70 ± 0.35 dB (left) and −0.70 ± 0.35 dB "
        "(right), treble at worst −"
    )
    treble = exchange(FOUND[2], LEFT[2], 10_000.0)[1]
    assert f"−{abs(treble):.2f} ± " in told
    assert "speed −0.65 ± 0.15 %. With Type B noise reduction in, the worst that is heard is −" in told
    assert ". Every figure: tapebench interchange " in told
    assert "is put right by tapebench decode --session " in told


def test_tapes_recorded_on_dirty_heads_may_be_duller(tmp_path: Path) -> None:
    record = lined_up(tmp_path, 2)
    clean = "These figures are for tapes recorded with clean heads. "
    assert f"{clean}Every figure" in earlier_tapes_paragraph(record)
    dirty = []
    for kept in record.readings:
        found = kept.measured
        if kept.stage == "found-clean" and kept.source == "record-replay" and found:
            lost = (found.frequency_hz or 0.0) / 1000 if found.quantity == "response" else 0.0
            dirty.append(replace(kept, stage="found-dirty", reading=replace(found, value=found.value - lost)))
    told = earlier_tapes_paragraph(replace(record, readings=(*dirty, *record.readings)))
    more = "10.00 ± 0.15 dB more at 10 kHz"  # two readings of ±0.1 dB, rounded up
    assert f"{clean}Before cleaning, record and replay together lost {more}, so the last tapes may be duller" in told


def test_where_readings_are_missing_the_reason_is_given(tmp_path: Path) -> None:
    folder = session(tmp_path, LEFT[2], found=FOUND[2])
    file = folder / "session.toml"
    text = file.read_text(encoding="utf-8")
    before, after = text.split('step = "s-left"', 1)
    file.write_text(before.replace('source = "reference tape"', 'source = "machine"') + f'step = "s-left"{after}')
    record = read_session(folder)
    because = "as found, after cleaning, this was not read: replay azimuth, replay level, replay response, speed"
    assert earlier_tapes(record).because == because
    none = f"How your own tapes from before this line-up play on it: no reading, because {because}."
    assert earlier_tapes_paragraph(record) == none
    assert choice_lines(record) == (f"No figures for this choice, because {because}.",)


def test_a_reading_from_before_a_turn_is_none_as_left(tmp_path: Path) -> None:
    record = lined_up(tmp_path, 2)
    later = record.readings[-1].time + timedelta(minutes=5)
    turned = tuple(Turned(name, (5.0,), step="later", time=later) for name in ("replay level left", "replay azimuth"))
    told = earlier_tapes(replace(record, events=(*record.events, *turned)))
    assert not told.level
    assert told.azimuth is None


def test_a_session_that_adjusted_nothing_says_nothing_of_it(tmp_path: Path) -> None:
    assert earlier_tapes_paragraph(read_session(session(tmp_path, LEFT[2]))) == ""


def test_the_command_for_one_session(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = lined_up(tmp_path, 3).folder
    assert main(["interchange", str(folder)]) == 0
    told = capsys.readouterr().out
    assert told.startswith("Deck: tapes recorded as found, replayed as left; k = 2\n  level, left: −1.50 ± 0.35 dB\n")
    assert "  speed: +0.40 ± 0.15 %\n" in told
    assert "Kept, the owner's tapes: level −0.60 ± 0.32 dB, 10 kHz −" in told
    assert "Standard, tapes from elsewhere that are right: as they were recorded" in told
    assert main(["interchange", str(folder), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["level_db"]["left"]["value"] == pytest.approx(-1.5)

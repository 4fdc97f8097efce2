"""Every method, on two heads in two passes and on three heads at once, against the figures of the practice machine."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bench.procedure.state.journal import ReadingRecord
from tests.procedure.record_bench import HEAD, Ran, run, step
from tests.results import a_reading, no_reading
from tests.smooth import smooth_procedures

TARGETS = """
[targets.own_db]
unit = "dB"
tolerance = 60.0
source = "common practice, no source"

[targets.own_mains]
unit = "dBFS"
at_most = -40.0
source = "common practice, no source"

[targets.own_percent]
unit = "%"
at_most = 3.0
source = "common practice, no source"

[targets.own_rate]
unit = "per minute"
at_most = 10.0
source = "common practice, no source"

[targets.own_circuit]
unit = "dB"
tolerance = 1.5
source = "data sheet of Type B, as the measuring room quotes it"
"""


def bench(folder: Path, machine: str) -> None:
    """The shipped files, with targets of our own."""
    smooth_procedures(folder / "procedures")
    path = folder / "procedures" / "sheets" / "machines" / f"{machine}.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("\n[practice]", TARGETS + "\n[practice]", 1), "utf-8")


def measure(name: str, quantity: str, target: str = "own_db", **keys: str) -> str:
    return step("measure", name, quantity=f'"{quantity}"', target=f'"machine.{target}"', **keys)


STEPS = (
    HEAD
    + measure(
        "noise", "signal_to_noise", records='"silence"', method='"unweighted rms 22.4 Hz-22.4 kHz"', seconds="4.0"
    )
    + measure("mol", "maximum_output_level", sends="[{ hz = 315, db = 0 }]")
    + measure("apart", "separation", driven='"left"', sends="[{ hz = 1000, db = 0 }]", seconds="3.0")
    + measure("third", "third_harmonic", "own_percent", sends="[{ hz = 400, db = 0 }]", seconds="3.0")
    + measure("thd", "thd", "own_percent", sends="[{ hz = 400, db = 0 }]", seconds="3.0")
    + measure("level", "record_replay_level", sends="[{ hz = 1000, db = -10 }]", seconds="3.0")
)


@pytest.fixture(scope="module", params=["two-head-cassette", "three-head-cassette"])
def ran(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Ran:
    folder = tmp_path_factory.mktemp("measured")
    bench(folder, request.param)
    return run(folder, STEPS, request.param, seed=3)


def records(ran: Ran, name: str) -> list[ReadingRecord]:
    found = [r for r in ran.opened.store.records() if r.step == name]
    assert found, f"{name}: {ran.opened.store.events()}"
    return found


def values(ran: Ran, name: str) -> list[float]:
    out = [a_reading(r.reading).value for r in records(ran, name)]
    assert None not in out, [no_reading(r.reading).reason for r in records(ran, name)]
    return [v for v in out if v is not None]


def test_one_target_judges_one_method_and_the_reading_says_which(ran: Ran) -> None:
    found = records(ran, "thd")
    assert [(r.reading.channel, r.reading.method.name) for r in found] == [
        ("left", "of the fundamental"),
        ("right", "of the fundamental"),
    ]
    # Distortion of tape is nearly all third harmonic (symmetrical magnetisation), here from another recording.
    assert values(ran, "thd") == [pytest.approx(h, rel=0.05) for h in values(ran, "third")]


def test_noise_of_tape_recorded_with_nothing_sent(ran: Ran) -> None:
    # The tape's sheet: -53 dB from 22.4 Hz to 22.4 kHz; the amplifiers' -72 dB hardly add.
    assert values(ran, "noise") == [pytest.approx(53.0, abs=0.5)] * 2
    reading = records(ran, "noise")[0].reading
    assert reading.reference == "reference level, 250 nWb/m (DIN)"
    assert reading.method.nothing_sent


def test_maximum_output_level_of_a_tone_that_rises(ran: Ran) -> None:
    assert values(ran, "mol") == [pytest.approx(4.5, abs=0.2)] * 2  # the tape's sheet
    assert {r.reading.frequency_hz for r in records(ran, "mol")} == {315.0}


def test_separation_with_one_channel_driven(ran: Ran) -> None:
    assert values(ran, "apart") == [pytest.approx(45.0, abs=0.3)]  # the machine's crosstalk
    assert records(ran, "apart")[0].reading.method.driven == "left"


def test_third_harmonic_judged_by_a_limit(ran: Ran) -> None:
    # 3 % at +4.5 dB, falling by 2 dB for each dB at lower levels.
    assert values(ran, "third") == [pytest.approx(3.0 * 10 ** (-2 * 4.5 / 20), abs=0.15)] * 2
    assert [r.verdict.word for r in records(ran, "third") if r.verdict] == ["in", "in"]


def test_level_less_what_was_sent(ran: Ran) -> None:
    assert values(ran, "level") == [pytest.approx(0.0, abs=0.1)] * 2
    assert {r.sent_db for r in records(ran, "level")} == {-10.0}


def test_a_tone_recorded_erased_and_replayed(tmp_path: Path) -> None:
    bench(tmp_path, "two-head-cassette")
    text = HEAD + measure("erased", "erasure", erases="true", sends="[{ hz = 1000, db = 3 }]", seconds="6.0")
    whole = run(tmp_path, text, "two-head-cassette", seed=3)
    weak = run(tmp_path, text, "two-head-cassette", seed=3, erase_db=-50.0)
    # The old recording remains at -72 dB; noise 50 dB below the tone does not matter.
    assert values(whole, "erased") == [pytest.approx(71.0, abs=2.5)] * 2
    assert values(weak, "erased") == [pytest.approx(49.5, abs=1.0)] * 2


def test_a_method_that_there_is_not_names_those_there_are(tmp_path: Path) -> None:
    bench(tmp_path, "three-head-cassette")
    text = HEAD + measure("mains", "hum", "own_mains", records='"silence"', method='"line at 75 Hz"', seconds="4.0")
    because = no_reading(records(run(tmp_path, text, "three-head-cassette", hum_db=-40.0), "mains")[0].reading).reason
    assert because is not None
    assert re.match(
        "there is no method “line at 75 Hz” for it; there are total of mains frequency and harmonics", because
    )


@pytest.mark.long
@pytest.mark.parametrize("machine", ["two-head-cassette", "three-head-cassette"])
def test_the_noise_reduction_circuit_itself(tmp_path: Path, machine: str) -> None:
    bench(tmp_path, machine)
    text = HEAD
    for name in ("encoding", "decoding"):
        side = '"record-only"' if name == "encoding" else '"replay-only"'
        text += measure(name, f"{name}_error", "own_circuit", noise_reduction=side)
    right = run(tmp_path, text, machine)
    assert right.outcome.words == {"in": 28}
    assert max(abs(v) for v in values(right, "encoding")) < 0.6
    weak = run(tmp_path, text, machine, encoder_side_db=-4.0)
    assert {r.verdict.word for r in records(weak, "encoding") if r.verdict} >= {"out"}
    assert {r.verdict.word for r in records(weak, "decoding") if r.verdict} == {"in"}

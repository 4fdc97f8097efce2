"""The question of a job is answered in one sentence, from the relevant readings."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from bench.measure.reading import Channel, NoReading, Reading
from bench.procedure.model.targets import Target, judge
from bench.procedure.state.answer import answer_to
from bench.procedure.state.journal import ReadingRecord
from tests.session.made_up import START

TOLERANCES = {"record_replay_level": 0.5, "response": 2.0, "encoding_error": 1.5, "decoding_error": 1.5}
REFERENCES = {"response": "400 Hz"}
FIT = "Fit for noise reduction with this tape:"


def record(quantity: str, value: float | None, channel: Channel = "left", hz: float = 400.0) -> ReadingRecord:
    """A judged reading from record to replay, ± 0.1 dB."""
    reading = (
        NoReading(quantity, channel, "the tone did not come back", frequency_hz=hz)
        if value is None
        else Reading(quantity, channel, value, 0.1, frequency_hz=hz, reference=REFERENCES.get(quantity, ""))
    )
    verdict = judge(reading, Target(unit="dB", tolerance=TOLERANCES[quantity], source="common practice, no source"))
    return ReadingRecord("r1", "a", "left", True, "record-replay", reading, verdict, START, -20.0)


@pytest.mark.parametrize(
    ("records", "said"),
    [
        ([], f"{FIT} not known, because nothing was measured from record to replay."),
        (
            [record("record_replay_level", 0.1), record("response", -1.0, hz=8000.0)],
            f"{FIT} yes, level and response from record to replay are in.",
        ),
        (
            [record("record_replay_level", -1.1), record("response", -1.0, hz=8000.0)],
            f"{FIT} no, because record-to-replay level, left, 400 Hz is −1.10 ± 0.10 dB, target 0 ± 0.5.",
        ),
        (
            # In each channel, the reading with the largest error.
            [record("response", -3.0, hz=6300.0), record("response", -5.0, hz=8000.0)],
            f"{FIT} no, because response, left, 8 kHz is −5.00 ± 0.10 dB relative to 400 Hz, target 0 ± 2.",
        ),
        (
            [record("record_replay_level", 0.45)],
            f"{FIT} too close to call, because record-to-replay level, left, 400 Hz is 0.45 ± 0.10 dB, target 0 ± 0.5.",
        ),
        (
            [record("record_replay_level", None)],
            (
                f"{FIT} not known, because record-to-replay level, left, 400 Hz: "
                "no reading, because the tone did not come back."
            ),
        ),
        (
            # Readings of the reference tape say nothing about a recording.
            [record("record_replay_level", 0.0), replace(record("response", -9.0), source="reference tape")],
            f"{FIT} yes, level and response from record to replay are in.",
        ),
    ],
)
def test_fit_for_noise_reduction(records: list[ReadingRecord], said: str) -> None:
    assert answer_to("fit-for-noise-reduction", records) == said


@pytest.mark.parametrize(
    ("records", "said"),
    [
        ([], "Whether encoder and decoder are right is not known, because neither was measured."),
        (
            [record("encoding_error", 0.2), record("decoding_error", 0.1), record("record_replay_level", 1.8, "right")],
            (
                "The encoder and the decoder are right; record-to-replay level is not right, because "
                "record-to-replay level, right, 400 Hz is 1.80 ± 0.10 dB, target 0 ± 0.5."
            ),
        ),
        (
            [record("encoding_error", 3.0, hz=5000.0), record("record_replay_level", 0.0)],
            (
                "Record-to-replay level is right; the encoder is not right, because encoding error, left, 5 kHz is "
                "3.00 ± 0.10 dB, target 0 ± 1.5; the decoder was not measured."
            ),
        ),
    ],
)
def test_noise_reduction_itself(records: list[ReadingRecord], said: str) -> None:
    assert answer_to("noise-reduction-circuits", records) == said


def test_which_tape() -> None:
    a = replace(record("record_replay_level", 1.0), lot="blank A")
    b = replace(record("record_replay_level", 0.1), lot="blank B", step="b")
    assert answer_to("which-tape", [a, b]) == "Blank B fits best, by level."
    assert "fewer than two" in answer_to("which-tape", [a])
    assert answer_to("", [a, b]) == ""


@pytest.mark.parametrize("value", [0.1, 2.7, -0.5, None])
def test_every_figure_of_an_answer_is_that_of_a_reading(value: float | None) -> None:
    r = record("record_replay_level", value)
    said = answer_to("fit-for-noise-reduction", [r]).replace("−", "-")
    figures = [float(found) for found in re.findall(r"-?\d+\.\d\d(?= ±)", said)]
    assert figures == ([value] if r.verdict and r.verdict.word in ("out", "too close to call") else [])

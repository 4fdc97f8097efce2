"""Which device a name means, and why none is available."""

from __future__ import annotations

import pytest

from bench.audio.devices import Device, choose
from bench.problem import Problem


def device(
    index: int, name: str, *, inputs: int = 2, outputs: int = 2, system: str = "ALSA", default: bool = False
) -> Device:
    return Device(index, name, system, inputs, outputs, 48000, default, default)


HALL = device(0, "Hall interface")
BENCH = device(1, "Bench interface", default=True)
MIC = device(2, "Microphone", outputs=0)
SPEAKER = device(3, "Speaker", inputs=0)
ONE = device(4, "Telephone", inputs=1, outputs=1)
ALL = (HALL, BENCH, MIC, SPEAKER, ONE)


@pytest.mark.parametrize(
    ("wanted", "record", "play"),
    [
        (None, BENCH, BENCH),
        ("", BENCH, BENCH),
        ("hall", HALL, HALL),
        ("Hall interface", HALL, HALL),
        ("Hall interface, ALSA", HALL, HALL),
        ("Microphone / Speaker", MIC, SPEAKER),
        ("mic / bench", MIC, BENCH),
    ],
)
def test_a_name_or_enough_of_it_finds_the_device(wanted: str | None, record: Device, play: Device) -> None:
    assert choose(ALL, wanted) == (record, play)


@pytest.mark.parametrize(
    ("wanted", "said"),
    [
        ("interface", 'several devices with inputs: "Hall interface", "Bench interface"'),
        ("Gramophone", 'no sound device with inputs named "Gramophone"; there are: "Hall interface"'),
        ("Microphone", 'no sound device with outputs named "Microphone"'),
        ("Telephone", 'the sound device "Telephone" has one output channel and two are needed'),
        ("a / b / c", "more than two devices"),
    ],
)
def test_what_can_not_be_had_is_one_sentence(wanted: str, said: str) -> None:
    with pytest.raises(Problem) as caught:
        choose(ALL, wanted)
    assert said in caught.value.sentence


def test_a_device_that_two_systems_list_is_taken_as_the_first_lists_it() -> None:
    first, second = device(0, "Bench", system="MME"), device(1, "Bench", system="WASAPI")
    assert choose((first, second), "Bench") == (first, first)
    assert choose((first, second), "Bench, WASAPI") == (second, second)


def test_no_device_at_all_and_none_that_records() -> None:
    with pytest.raises(Problem, match="there is no sound device"):
        choose((), None)
    with pytest.raises(Problem, match="no sound device has inputs"):
        choose((SPEAKER,), None)


def test_where_the_system_has_no_choice_of_its_own_the_first_is_taken() -> None:
    assert choose((MIC, HALL), None) == (MIC, HALL)

"""Methods of schemas 1 and 2, as written in files."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from pydantic import TypeAdapter

from bench.measure.method import Method
from bench.measure.reading import ReferenceTone
from bench.session.record.migrate_methods import method_table, reference_of

LEVEL = "mean level of the steady tone, tracking demodulator"
PHASE = "phase between the channels, tracking demodulator"
LINE = "line in the unweighted deviation, peak"
LAW = "from level and response, noise reduction out, by the law of Type B for steady tones"


def method(said: str) -> Method:
    return TypeAdapter(Method).validate_python(method_table(said))


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ("A-weighted rms", Method("A-weighted rms")),
        (f"{LEVEL}, recorded to replayed, relative to 400 Hz", Method(LEVEL, difference="recorded to replayed")),
        (f"{LEVEL}, replayed less sent; interface +0.40 dB; 526 mV at the interface", None),
        (
            f"{LEVEL}, relative to 315 Hz; reference tape ±0.2 dB, its certificate moves the target by −0.1 dB",
            Method(LEVEL, tape_db=0.2, certificate_db=-0.1),
        ),
        (f"{LEVEL}, left minus right", Method(LEVEL, difference="left minus right")),
        (f"{LEVEL}; interface −0.20 dB, half of its loop", Method(LEVEL, interface_db=-0.2, half_of_loop=True)),
        (
            f"{PHASE}, 4 tones, whole periods told by all of them, inverted polarity taken out; reference tape ±0.3'",
            Method(PHASE, tones=4, inverted=True, tape_arcmin=0.3),
        ),
        (
            f"{PHASE}; reference tape ±0.3'; 47.625 mm/s, 0.9 mm between tracks",
            Method(PHASE, tape_arcmin=0.3, speed_mm_s=47.625, track_spacing_mm=0.9),
        ),
        (
            "straight line through the frequency of 30.0 s, end minus start; reference tape ±0.05 %",
            Method("straight line through the frequency, end minus start", seconds=30.0, tape_percent=0.05),
        ),
        (
            f"{LINE}; comes round every 2.37 s, as the hub, half wound does",
            Method(LINE, every_s=2.37, part="hub, half wound"),
        ),
        (
            (
                f"{LINE}; comes round every 60.7 ms, as the capstan, 2 times a turn, does; "
                "recorded and replayed here, so that both add"
            ),
            Method(LINE, every_s=60.7 / 1000, part="capstan", per_turn=2, both_passes=True),
        ),
        (
            "total of mains frequency and harmonics: 50, 100, 150 Hz; of tape recorded with nothing sent",
            Method("total of mains frequency and harmonics", lines_hz=(50.0, 100.0, 150.0), nothing_sent=True),
        ),
        (
            "right driven, residue of left in a narrow band that follows the tone",
            Method("residue of the other channel in a narrow band that follows the tone", driven="right"),
        ),
        (
            (
                f"{LAW}: worst of 0 to −50 dB, at −26 dB; errors held beyond 12500 Hz; "
                "level sent at −20 dB, response at +0 dB"
            ),
            Method(LAW, worst_level_db=-26.0, held_beyond_hz=12500.0, level_sent_db=-20.0, response_sent_db=0.0),
        ),
        (
            "Type B in less out at −21.8 dB, beside the data sheet of Type B",
            Method("Type B in minus out, beside the data sheet of Type B", level_db=-21.8),
        ),
        (
            f"fall of 10 kHz past its peak as bias is raised, {LEVEL}",
            Method(f"fall past the peak as bias is raised, {LEVEL}"),
        ),
        (
            "fall of 6.3 kHz past the peak found by a ladder of 9 positions",
            Method("fall past the peak", positions=9),
        ),
        (
            "voltmeter ±1.5 %, 400 Hz at -6 dBFS",
            Method("voltmeter", instrument_percent=1.5, sent_hz=400.0, sent_dbfs=-6.0),
        ),
        (
            "returned less sent, output looped to input",
            Method(LEVEL, difference="returned minus sent"),
        ),
        ("counter ±10 ppm, 10000 Hz sent", Method("counter", instrument_ppm=10.0, sent_hz=10000.0)),
        (
            "A-weighted rms; the interface's own noise is −95 dBFS, so that this is the most it can be",
            Method("A-weighted rms", interface_noise_dbfs=-95.0),
        ),
        (
            f"{LEVEL}; replay within 0.12 dB of the reference tape, which is known to ±0.2 dB",
            Method(LEVEL, replay_within_db=0.12, replay_known_db=0.2),
        ),
        (
            "a method of another day; of which nothing is known",
            Method("a method of another day; of which nothing is known"),
        ),
    ],
)
def test_what_was_said_becomes_facts(said: str, expected: Method | None) -> None:
    wanted = expected or Method(LEVEL, difference="replayed minus sent", interface_db=0.4, interface_volts=0.526)
    assert method(said) == wanted


def test_nothing_is_left_over_of_the_worked_sessions() -> None:
    """Two whole line-ups of schema 2, as shipped with it."""
    said = set()
    for path in (Path(__file__).parent / "whole_jobs").glob("*-schema-2.toml"):
        said |= {r["method"] for r in tomllib.loads(path.read_text(encoding="utf-8"))["readings"] if "method" in r}
    assert len(said) > 20
    assert not [name for name in (method(s).name for s in said) if ";" in name or ":" in name or "Hz" in name]


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ("400 Hz at -20 dB", ReferenceTone(400.0, -20.0)),
        ("315 Hz at +0 dB", ReferenceTone(315.0, 0.0)),
        ("3150 Hz", ReferenceTone(3150.0)),
        ("the level sent (+0 dB re 250 nWb/m)", "the level sent (+0 dB re 250 nWb/m)"),
        ("", ""),
    ],
)
def test_a_reference_tone_of_an_earlier_session_is_read_as_fields(said: str, expected: str | ReferenceTone) -> None:
    adapter: TypeAdapter[str | ReferenceTone] = TypeAdapter(str | ReferenceTone)
    read = adapter.validate_python(reference_of(said))
    assert read == expected
    assert str(read) == said


def test_the_frequency_of_a_mean_carrier_keeps_no_two_sessions_apart() -> None:
    assert reference_of("mean carrier, 3151.2 Hz") == reference_of("mean carrier, 3148.7 Hz") == "mean carrier"

"""Which steps apply to the sheets, each direction of an auto-reverse machine, and where names lead."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.procedure.load.assemble import assemble
from bench.procedure.model.job import Job
from bench.procedure.model.steps import ByHand, Measure
from tests.procedure.small_bench import BIAS, CLEAN, ENTRY, FOLLOW, HEAD, LEVEL, MACHINE, MEASURED, RECORD, make_bench

PART = HEAD + "part = true\n"
AUTO_REVERSE = 'auto_reverse = true\nnoise_reduction = ["type-b"]\n'
SKEW = """
[[step]]
kind = "adjust"
id = "azimuth"
title = "Azimuth"
do = "Turn it."
quantity = "azimuth_delay"
plays = "low"
target = "machine.azimuth"
trimmers = { both = "replay azimuth" }
trimmers_reverse = { both = "speed" }
each_direction = true
"""
LOW_SKEW = """
[[section]]
id = "low"
purpose = "azimuth"
hz = 1000
db = -10
seconds = 10
"""


def _job(tmp_path: Path, main: str, machine: str = MACHINE, **others: str) -> Job:
    bench = make_bench(tmp_path, main=main, **others)
    (bench.sheets / "machines" / "three-head-cassette.toml").write_text(machine, encoding="utf-8")
    tape = bench.sheets / "reference-tapes" / "cassette-reference.toml"
    tape.write_text(tape.read_text(encoding="utf-8") + LOW_SKEW, encoding="utf-8")
    assembly = assemble(bench.procedures / "main.toml", bench, {})
    assert assembly.job is not None, [f.sentence for f in assembly.findings]
    return assembly.job


def test_a_procedure_for_other_machines_is_refused_before_it_starts(tmp_path: Path) -> None:
    bench = make_bench(tmp_path, main=HEAD + "applies_to = { heads = [2] }\n" + CLEAN)
    assembly = assemble(bench.procedures / "main.toml", bench, {})
    assert assembly.job is None
    (found,) = assembly.findings
    assert "applies_to: this procedure is for 2 heads; this machine has 3; choose another machine" in found.sentence


def test_a_step_says_what_its_number_of_heads_needs(tmp_path: Path) -> None:
    by_heads = """
checklist = ["swabs"]
checklist_three_heads = ["monitor on tape"]
three_heads = "Set the monitor to source."
two_heads = "Begin to record."
"""
    for machine, said, lines in (
        (MACHINE, "Set the monitor to source. Clean it.", ("swabs", "monitor on tape")),
        (MACHINE.replace("heads = 3", "heads = 2"), "Begin to record. Clean it.", ("swabs",)),
    ):
        step = _job(tmp_path, HEAD + CLEAN + by_heads, machine).steps[0]
        assert isinstance(step, ByHand)
        assert (step.do, step.checklist) == (said, lines)


@pytest.mark.parametrize(
    ("applies_to", "why"),
    [
        ("heads = [3]", ""),
        ("heads = [2, 3]", ""),
        ("heads = [2]", "for 2 heads; this machine has 3"),
        ('tape_type = ["II", "IV"]', "type II or type IV only; this tape is type I"),
        ('tape_type = ["open reel"]', "open reel only; this is a cassette"),
        ('tape_type = ["I"], heads = [3]', ""),
        ('tape_type = ["I"], heads = [2]', "for 2 heads; this machine has 3"),
        ("speed_mm_s = [47.625]", ""),
        (
            "speed_mm_s = [190.5, 381.0]",
            "for 19 cm/s (7½ ips) or 38 cm/s (15 ips); this machine runs at 4.76 cm/s (1⅞ ips)",
        ),
        ("bass_equalisation_us = [3180.0]", ""),
        (
            "bass_equalisation_us = [0.0]",
            "for equalisation without a time constant in the bass; this machine has it with 3180 µs in the bass",
        ),
        ('trimmers = ["bias left"]', ""),
        ('trimmers = ["bias left", "loudness"]', "the machine has no trimmer loudness"),
        ("auto_reverse = false", ""),
        ("auto_reverse = true", "for machines with auto-reverse"),
        ("noise_reduction = true", "for machines with noise reduction"),
        ("noise_reduction = false", ""),
        ("separate_bias = true", ""),
        ("separate_bias = false", "for machines without a bias trimmer for each channel"),
        ("test_point = true", "for machines with a test point for replay level in its sheet"),
        ("meters = false", ""),
    ],
)
def test_a_step_that_does_not_apply_is_left_out_with_its_reason(tmp_path: Path, applies_to: str, why: str) -> None:
    job = _job(tmp_path, HEAD + CLEAN + ENTRY + f"applies_to = {{ {applies_to} }}\n")
    assert [s.id for s in job.steps] == (["clean"] if why else ["clean", "wear"])
    assert [(left.id, left.title, left.why) for left in job.inapplicable] == ([("wear", "Wear", why)] if why else [])


def test_a_step_for_the_other_kind_of_tape_under_the_same_title_is_not_left_out(tmp_path: Path) -> None:
    twins = "".join(
        ENTRY.replace('id = "wear"', f'id = "{name}"') + f"applies_to = {{ tape_type = {types} }}\n"
        for name, types in (("wear", ["I", "II", "IV"]), ("wear-reel", ["open reel"]))
    )
    job = _job(tmp_path, HEAD + CLEAN + twins)
    assert [s.id for s in job.steps] == ["clean", "wear"]
    assert job.inapplicable == ()


def test_what_does_not_apply_is_not_held_against_the_sheets(tmp_path: Path) -> None:
    only = 'applies_to = { tape_type = ["II"] }\n'
    job = _job(tmp_path, HEAD + CLEAN + BIAS.replace("tape.bias", "tape.other") + only)
    assert [s.id for s in job.steps] == ["clean"]


def test_a_followed_procedure_is_left_out_as_one(tmp_path: Path) -> None:
    job = _job(tmp_path, HEAD + CLEAN + FOLLOW + "applies_to = { heads = [2] }\n", other=PART + RECORD)
    assert [s.id for s in job.steps] == ["clean"]
    assert [left.id for left in job.inapplicable] == ["other"]


def test_each_direction_has_its_own_trimmer(tmp_path: Path) -> None:
    forward_only = _job(tmp_path / "a", HEAD + CLEAN + SKEW)
    assert [(s.id, s.direction) for s in forward_only.steps] == [("clean", None), ("azimuth", None)]
    job = _job(tmp_path / "b", HEAD + CLEAN + SKEW, AUTO_REVERSE + MACHINE)
    assert [(s.id, s.title, s.direction) for s in job.steps[1:]] == [
        ("azimuth-forward", "Azimuth, forward", "forward"),
        ("azimuth-reverse", "Azimuth, reverse", "reverse"),
    ]
    assert [s.trimmers["both"] for s in job.steps[1:]] == ["replay azimuth", "speed"]  # type: ignore[union-attr]


def test_a_followed_procedure_is_done_in_each_direction_as_a_whole(tmp_path: Path) -> None:
    again = RECORD.replace('id = "record"', 'id = "again"') + 'again_until = { back_to = "record" }\n'
    main = HEAD + CLEAN + FOLLOW + "each_direction = true\n"
    job = _job(tmp_path, main, AUTO_REVERSE + MACHINE, other=PART + RECORD + again)
    assert [(s.id, s.direction) for s in job.steps[1:]] == [
        ("other-forward/record", "forward"),
        ("other-forward/again", "forward"),
        ("other-reverse/record", "reverse"),
        ("other-reverse/again", "reverse"),
    ]
    last = job.steps[-1]
    assert job.steps_named(last.again_until.back_to, last.direction).first == 3  # type: ignore[union-attr]


def test_what_a_reading_comes_back_to_moves_along(tmp_path: Path) -> None:
    after = MEASURED.replace('"before"', '"after"') + 'returns_to = "before"\n'
    main = HEAD + CLEAN + FOLLOW + "each_direction = true\n"
    job = _job(tmp_path, main, AUTO_REVERSE + MACHINE, other=PART + MEASURED + after)
    last = job.steps[-1]
    assert last.id == "other-reverse/after"
    assert isinstance(last, Measure)
    assert last.returns_to is not None
    assert job.steps_named(last.returns_to, last.direction).steps == ("other-reverse/before",)


def test_names_lead_to_what_is_left(tmp_path: Path) -> None:
    main = HEAD + CLEAN + ENTRY + "applies_to = { heads = [2] }\n" + FOLLOW + LEVEL
    job = _job(tmp_path, main, other=PART + RECORD + RECORD.replace('id = "record"', 'id = "again"'))
    assert [s.id for s in job.steps] == ["clean", "other/record", "other/again", "replay-level"]
    assert (job.steps_named("wear").first, job.steps_named("wear").steps) == (1, ())
    assert (job.steps_named("other").first, job.steps_named("other").steps) == (1, ("other/record", "other/again"))
    assert job.steps_named("other/again").first == 2


def test_names_of_both_directions(tmp_path: Path) -> None:
    job = _job(tmp_path, HEAD + CLEAN + SKEW, AUTO_REVERSE + MACHINE)
    assert job.steps_named("azimuth").steps == ("azimuth-forward", "azimuth-reverse")
    assert job.steps_named("azimuth").first == 1
    assert job.steps_named("azimuth", "reverse").first == 2


def test_decisions_of_what_is_followed_move_along(tmp_path: Path) -> None:
    decision = """
[[step]]
kind = "decision"
id = "enough"
title = "Enough?"
of = "record"
when_in = "end"
"""
    end = ENTRY.replace('"wear"', '"end"')
    other = PART + RECORD + decision + RECORD.replace('id = "record"', 'id = "more"') + end
    job = _job(tmp_path, HEAD + CLEAN + FOLLOW, other=other)
    step = job.steps[2]
    assert (step.of, step.when_in, step.when_not) == ("other/record", "other/end", None)  # type: ignore[union-attr]
    assert job.steps_named("other/end").first == 4


def test_nothing_that_applies_is_no_job(tmp_path: Path) -> None:
    bench = make_bench(tmp_path, main=HEAD + ENTRY + "applies_to = { heads = [2] }\n")
    findings = assemble(bench.procedures / "main.toml", bench, {}).findings
    assert ["no step applies to this machine and tape" in f.message for f in findings] == [True]


def test_a_missing_file_is_told_even_where_it_is_not_followed(tmp_path: Path) -> None:
    bench = make_bench(tmp_path, main=HEAD + CLEAN + FOLLOW + "applies_to = { heads = [2] }\n")
    findings = assemble(bench.procedures / "main.toml", bench, {}).findings
    assert ["there is no procedure" in f.message for f in findings] == [True]

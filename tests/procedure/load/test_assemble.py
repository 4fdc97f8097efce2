"""Assembling a job: followed procedures, sheets, and all problems at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.procedure.load.assemble import MOST_STEPS, assemble
from tests.procedure.small_bench import BIAS, CLEAN, FOLLOW, GOOD, HEAD, LEVEL, PLAY, RECORD, TAPE, make_bench

PART = HEAD + "part = true\n"


def _follow(name: str, more: str = "") -> str:
    return FOLLOW.replace('"other"', f'"{name}"') + more


def _told(tmp_path: Path, **procedures: str) -> list[str]:
    bench = make_bench(tmp_path, **procedures)
    assembly = assemble(bench.procedures / "main.toml", bench, {})
    assert (assembly.job is None) == bool(assembly.findings)
    return [f"{f.line}: {f.key}: {f.message}; {f.remedy}" for f in assembly.findings]


def test_followed_steps_stand_in_their_place(tmp_path: Path) -> None:
    caution = '[[step.cautions]]\nhazard = "solvent"\nsay = "Air the room."\n'
    bench = make_bench(
        tmp_path,
        main=HEAD
        + _follow("record", 'stage = "found-dirty"\n' + caution)
        + _follow("cleaning")
        + _follow("outer")
        + _follow("record").replace('id = "record"', 'id = "left"'),
        record=PART + RECORD + RECORD.replace('id = "record"', 'id = "again"'),
        cleaning=PART + CLEAN,
        outer=PART + _follow("inner", 'stage = "found-clean"\n'),
        inner=PART + PLAY,
    )
    job = assemble(bench.procedures / "main.toml", bench, {}).job
    assert job is not None
    assert [(s.id, s.stage) for s in job.steps] == [
        ("record/record", "found-dirty"),
        ("record/again", "found-dirty"),
        ("cleaning/clean", "left"),
        ("outer/inner/play", "found-clean"),
        ("left/record", "left"),
        ("left/again", "left"),
    ]
    assert [len(s.cautions) for s in job.steps] == [1, 0, 0, 0, 0, 0]
    assert [u.path.stem for u in job.used] == [
        "main",
        "record",
        "cleaning",
        "outer",
        "inner",
        "three-head-cassette",
        "ferric-daily",
        "cassette-reference",
    ]
    assert all(u.content == u.path.read_bytes() for u in job.used)
    assert job.name == "main"
    assert job.names["machine"] == "three-head-cassette"
    assert job.target("tape.bias").unit == "dB"
    assert job.section("high").hz == 10000


def test_comes_back_to_itself(tmp_path: Path) -> None:
    told = _told(tmp_path, main=HEAD + _follow("a"), a=PART + CLEAN + _follow("b"), b=PART + CLEAN + _follow("a"))
    assert len(told) == 1
    assert told[0].startswith('10: step 1, procedure: "a" comes back to itself')
    assert '"main" comes back to itself' in _told(tmp_path, main=HEAD + _follow("main"))[0]


def test_a_followed_file_that_is_missing_is_told_with_what_there_is(tmp_path: Path) -> None:
    told = _told(tmp_path, main=HEAD + _follow("cleen"), clean=PART + CLEAN)
    assert told == ['10: step 1, procedure: there is no procedure "cleen" in this folder; did you mean "clean"?']


def test_a_followed_file_with_problems_is_told_once_where_it_is_followed(tmp_path: Path) -> None:
    told = _told(
        tmp_path, main=HEAD + _follow("other") + _follow("other").replace('id = "other"', 'id = "o2"'), other="x"
    )
    assert len(told) == 1
    assert all('"other" has a problem (' in t and "correct that file first" in t for t in told)


def test_following_that_grows_without_end_is_refused(tmp_path: Path) -> None:
    files = {f"p{n}": PART + _follow(f"p{n + 1}") * 2 for n in range(14)}
    files = {k: v.replace(f'id = "p{int(k[1:]) + 1}"', 'id = "one"', 1) for k, v in files.items()}
    told = _told(tmp_path, main=HEAD + _follow("p0"), p14=PART + CLEAN, **files)
    assert told == [f"10: step 1, procedure: more than {MOST_STEPS} steps with all that is followed; follow less"]


def test_following_without_end_what_is_missing_is_refused_too(tmp_path: Path) -> None:
    files = {f"p{n}": PART + _follow(f"p{n + 1}") * 2 for n in range(40)}
    files = {k: v.replace(f'id = "p{int(k[1:]) + 1}"', 'id = "one"', 1) for k, v in files.items()}
    told = _told(tmp_path, main=HEAD + _follow("p0"), **files)
    assert [t.split(": ", 2)[2].split(" ")[0] for t in told] == ["there", "more"]


def test_mistakes_of_every_depth_are_told_together(tmp_path: Path) -> None:
    text = (
        GOOD.replace('title = "A line-up"', 'titel = "A line-up"')  # the file's form, twice
        .replace('["little", "much"]', '["little"]')  # a step in itself
        .replace('"tape.bias"', '"tape.bais"')  # the sheet
        .replace("bias left", "bais left")  # the machine
        + _follow("nowhere")  # another file
    )
    told = _told(tmp_path, main=text)
    assert len(told) == 6
    assert [t.split(": ", 1)[1].split(":")[0] for t in told] == [
        "title",
        "titel",
        "step 4, target",
        "step 4, trimmers.left",
        "step 6, choices",
        "step 7, procedure",
    ]


def test_no_false_alarm_about_order_while_a_step_is_not_understood(tmp_path: Path) -> None:
    told = _told(tmp_path, main=HEAD + CLEAN.replace('"by-hand"', '"by-hnad"') + PLAY)
    assert len(told) == 1
    assert "by-hnad" in told[0]


def test_order_and_sheets_of_what_is_followed_are_told_where_it_is_followed(tmp_path: Path) -> None:
    told = _told(tmp_path, main=HEAD + _follow("play"), play=PART + PLAY)
    assert len(told) == 1
    assert told[0].startswith("10: step 1, procedure: play/play: the reference tape is played before the machine was")


@pytest.mark.parametrize(
    ("head", "said"),
    [
        (
            'machine = "two-haed-cassette"\n',
            'machine: there is no machine sheet "two-haed-cassette"; did you mean "two-head-',
        ),
        ('tape = "chrome"\n', 'tape: there is no tape sheet "chrome"; there is "ferric-daily"'),
        ('reference_tape = "x"\n', 'reference_tape: there is no reference-tape sheet "x"'),
        ("machine = 3\n", "machine: must be text, not a number"),
    ],
)
def test_the_sheets_a_procedure_names(tmp_path: Path, head: str, said: str) -> None:
    told = _told(tmp_path, main=HEAD + head + CLEAN)
    assert len(told) == 1
    assert said in told[0]


def test_a_procedures_own_choice_and_a_persons(tmp_path: Path) -> None:
    bench = make_bench(
        tmp_path, main=HEAD + 'machine = "two-head-cassette"\n' + CLEAN, bias=HEAD + BIAS + 'via = "live"\n'
    )
    main = bench.procedures / "main.toml"
    job = assemble(main, bench, {}).job
    assert job is not None
    assert job.machine.heads == 2
    sheet = bench.sheets / "machines" / "three-head-cassette.toml"
    job = assemble(main, bench, {"machine": [sheet]}).job
    assert job is not None
    assert job.machine.heads == 3
    two = bench.sheets / "machines" / "two-head-cassette.toml"
    assert "two heads" in assemble(bench.procedures / "bias.toml", bench, {"machine": [two]}).findings[0].message


def test_a_broken_sheet_is_told_once_and_not_where_it_is_told_anyway(tmp_path: Path) -> None:
    bench = make_bench(tmp_path, main=HEAD + CLEAN + LEVEL)
    sheet = bench.sheets / "tapes" / "ferric-daily.toml"
    sheet.write_text(TAPE.replace('"I"', '"V"'), encoding="utf-8")
    main = bench.procedures / "main.toml"
    findings = assemble(main, bench, {}).findings
    assert len(findings) == 1
    assert "the tape sheet has a problem (" in findings[0].sentence
    again = assemble(main, bench, {}, reported=frozenset([sheet.resolve()]))
    assert again.job is None
    assert again.findings == []


def test_where_the_usual_sheet_is_not_there_the_first_serves(tmp_path: Path) -> None:
    bench = make_bench(tmp_path, main=HEAD + CLEAN)
    (bench.sheets / "tapes" / "ferric-daily.toml").rename(bench.sheets / "tapes" / "another.toml")
    job = assemble(bench.procedures / "main.toml", bench, {}).job
    assert job is not None
    assert job.names["tape"] == "another"
    (bench.sheets / "tapes" / "another.toml").unlink()
    assert "there is no tape sheet in" in assemble(bench.procedures / "main.toml", bench, {}).findings[0].message

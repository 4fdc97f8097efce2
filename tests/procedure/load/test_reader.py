"""One bad file for each mistake: each is reported once, at its line, in the words of the file."""

# ruff: noqa: E501 - the tables are read row by row

from __future__ import annotations

import os
from pathlib import Path

import pytest

from bench.problem import Problem
from bench.procedure.load.reader import load_sheet, read_procedure, read_sheet
from bench.workspace import shipped_procedures
from tests.procedure.small_bench import (
    BIAS,
    CLEAN,
    ENTRY,
    FAULT,
    FOLLOW,
    GOOD,
    HEAD,
    LEVEL,
    MACHINE,
    PLAY,
    RECORD,
    REFERENCE_TAPE,
    TAPE,
)

QUESTION = """
[[step]]
kind = "question"
id = "first"
title = "What comes first?"
asks = "Why?"
choices = ["dirt", "speed"]
right = "dirt"
because = "Everything is measured through it."
"""

# Each row: the mistake, the file, the line's text on which it stands ("" for none), the key, and part of the sentence.
MISTAKES = [
    ("no format", GOOD.replace("format = 1\n", ""), "", "format", "missing; begin the file with `format = 1`"),
    ("text format", GOOD.replace("format = 1", 'format = "1"'), 'format = "1"', "format", "must be 1, not text"),
    ("true format", GOOD.replace("format = 1", "format = true"), "format = true", "format", "must be 1, not true"),
    ("future format", GOOD.replace("format = 1", "format = 2"), "format = 2", "format", "newer than this program reads"),
    ("old format", GOOD.replace("format = 1", "format = 0"), "format = 0", "format", "must be 1, not 0"),
    ("no title", GOOD.replace('title = "A line-up"\n', ""), "", "title", "missing; add `title = …`"),
    ("blank title", GOOD.replace('"A line-up"', '"  "'), 'title = "  "', "title", "is empty; fill it in"),
    ("unknown key", HEAD + "tilte = 3\n" + CLEAN, "tilte = 3", "tilte", 'not a key of this table; did you mean "title"?'),
    ("number for text", GOOD.replace('"A line-up"', "7"), "title = 7", "title", "must be text, not a number; put it in"),
    ("date for text", GOOD.replace('"A line-up"', "2024-01-01"), "title = 2", "title", "must be text, not a date or time"),
    ("text for number", GOOD.replace("= 5", '= "5"'), 'minutes = "5"', "takes_minutes", "must be a number, not text"),
    ("true for number", GOOD.replace("= 5", "= true"), "minutes = true", "takes_minutes", "must be a number, not true"),
    ("nan", GOOD.replace("= 5", "= nan"), "minutes = nan", "takes_minutes", "nan is not a number that can be measured"),
    ("inf", GOOD.replace("= 5", "= inf"), "minutes = inf", "takes_minutes", "inf is not a number that can be measured"),
    ("negative", GOOD.replace("= 5", "= -5"), "minutes = -5", "takes_minutes", "-5 is too small; it must be greater than"),
    ("text for list", HEAD + 'needs = "swab"\n' + CLEAN, "needs", "needs", "must be a list, not text; put it in [ ]"),
    ("text for truth", HEAD + 'part = "yes"\n' + CLEAN, "part", "part", "must be true or false, not text"),
    ("no steps", HEAD, "", "step", "missing"),
    ("empty steps", HEAD + "step = []\n", "step = []", "step", "is empty"),
    ("step is text", HEAD + 'step = ["x"]\n', "step", "step 1", "must be a table, not text"),
    ("step is one table", HEAD + "[step]\n", "[step]", "step", "must be a list, not a table"),
    ("no kind", GOOD.replace('kind = "entry"\n', ""), "", "step 6, kind", "missing; write what kind of step it is"),
    ("kind misspelt", GOOD.replace('"entry"', '"enrty"'), "enrty", "step 6, kind", 'not a kind of step; did you mean "entry"?'),
    ("kind is a number", GOOD.replace('"entry"', "3"), "kind = 3", "step 6, kind", "a number is not a kind of step"),
    ("step key", HEAD + CLEAN + "dose = []\n", "dose", "step 1, dose", 'did you mean "does"?'),
    ("unknown act", GOOD.replace('"demagnetise"]', '"demagnetize"]'), "does", "step 1, does 2", 'mean "demagnetise"?'),
    ("id with spaces", GOOD.replace('"wear"', '"Head wear"'), "Head wear", "step 6, id", "use small letters, digits and"),
    ("id taken", GOOD.replace('"wear"', '"clean"'), 'id = "clean"', "step 6, id", '"clean" is already the id of step 1'),
    ("no instruction", GOOD.replace('do = "Look."\n', ""), "", "step 6, do", "missing"),
    ("hazard", HEAD + CLEAN + '[[step.cautions]]\nhazard = "lava"\nsay = "x"\n', "lava", "step 1, cautions 1, hazard", "choice"),
    ("no saying", HEAD + CLEAN + '[[step.cautions]]\nhazard = "mains"\n', "[[step.cautions]]", "step 1, cautions 1, say", "miss"),
    ("timer", HEAD + CLEAN + "timer_s = -1\n", "timer_s", "step 1, timer_s", "must be at least 0"),
    ("stage", HEAD + CLEAN + PLAY + 'stage = "dirty"\n', "stage", "step 2, stage", '"dirty" is not a choice'),
    ("no targets", HEAD + CLEAN + PLAY.replace('{ level = "machine.replay_level" }', "{}"), "targets", "step 2, targets", "empty"),
    ("judges nonsense", HEAD + CLEAN + PLAY.replace("level =", "levle ="), "levle", "step 2, targets.levle", "not a choice"),
    ("target form", HEAD + CLEAN + PLAY.replace("machine.rep", "deck.rep"), "deck.", "step 2, targets.level", "name a sheet"),
    ("neither", HEAD + LEVEL.replace('plays = "level"\n', ""), "", "step 1, plays", "nothing sounds at this step"),
    ("both", HEAD + BIAS + 'plays = "high"\n', "plays", "step 1, plays", "plays and sends exclude each other"),
    ("which tone", HEAD + BIAS.replace("\nfrequency = 10000", ""), "", "step 1, frequency", "missing: several tones sound"),
    ("other tone", HEAD + BIAS.replace("\nfrequency = 10000", "\nfrequency = 8000"), "frequency = 8", "step 1, frequency", "8 kHz"),
    ("no base", HEAD + BIAS.replace("reference_frequency = 400\n", ""), "", "step 1, reference_frequency", "missing"),
    ("other base", HEAD + BIAS.replace("ncy = 400\n", "ncy = 315\n"), "315", "step 1, reference_frequency", "not among"),
    ("base unused", HEAD + LEVEL + "reference_frequency = 400\n", "reference_f", "step 1, reference_frequency", "take it out"),
    ("tone twice", HEAD + BIAS.replace("hz = 10000, db", "hz = 400, db").replace("frequency = 10000", "frequency = 400"),
     "sends", "step 1, sends 2, hz", "400 Hz is sent twice"),
    ("no pitch", HEAD + BIAS.replace("hz = 10000, db", "hz = 0, db"), "sends", "step 1, sends 2, hz", "greater than 0"),
    ("speed of sent", HEAD + BIAS.replace('"response"', '"speed_error"').replace("reference_frequency = 400\n", "")
     .replace('left = "bias left", right = "bias right"', 'both = "speed"'), "speed_error", "step 1, quantity", "always agrees"),
    ("speed recorded", HEAD + RECORD.replace("record_replay_level =", "speed_error ="), "speed_error",
     "step 1, targets.speed_error", "a machine always agrees with its own recording"),
    ("heard from tape", HEAD + LEVEL.replace('"level"\nplays', '"record_replay_level"\nplays'), "record_replay",
     "step 1, quantity", "not heard from the reference tape"),
    ("level of sent", HEAD + BIAS.replace('"response"', '"level"').replace("reference_frequency = 400\n", ""), '"level"',
     "step 1, quantity", 'write `quantity = "record_replay_level"`'),
    ("no trimmers", HEAD + LEVEL.replace('{ left = "replay level left", right = "replay level right" }', "{}"),
     "trimmers", "step 1, trimmers", "is empty"),
    ("both and left", HEAD + LEVEL.replace("right =", "both ="), "trimmers", "step 1, trimmers.both", "cannot be combined with"),
    ("one for two", HEAD + LEVEL.replace("level right", "level left"), "trimmers", "step 1, trimmers", "named for two"),
    ("azimuth left", HEAD + LEVEL.replace('"level"\nplays', '"azimuth_delay"\nplays'), "trimmers", "step 1, trimmers",
     "belongs to both channels"),
    ("rounds", HEAD + LEVEL + 'via = "round"\n', "via", "step 1, via", '"round" is not a choice here; did you mean "rounds"?'),
    ("no zero", HEAD + RECORD.replace("reference_hz = 400", "reference_hz = 315"), "315", "step 1, reference_hz", "not among"),
    ("no choices", HEAD + ENTRY.replace('choices = ["little", "much"]\n', ""), "", "step 1, choices", "fewer than two"),
    ("choice twice", HEAD + ENTRY.replace('"much"', '"Little"'), "choices", "step 1, choices", "there twice"),
    ("choices of words", HEAD + ENTRY.replace('"choice"', '"words"'), "choices", "step 1, choices", "take them out"),
    ("a choice of one", HEAD + QUESTION.replace('"dirt", "speed"', '"dirt"'), "choices", "step 1, choices",
     "has 1 item; there must be 2 at least"),
    ("a blank choice", HEAD + QUESTION.replace('"speed"', '""'), "choices", "step 1, choices 2", "is empty; fill it in"),
    ("no unit", HEAD + ENTRY.replace('"choice"\nchoices = ["little", "much"]', '"number"'), "", "step 1, unit", "its unit"),
    ("unit of words", HEAD + ENTRY.replace('"choice"\nchoices = ["little", "much"]', '"words"\nunit = "mm"'), "unit",
     "step 1, unit", "take it out"),
    ("follow elsewhere", HEAD + FOLLOW.replace('"other"\n', '"../other"\n').replace('id = "../other"', 'id = "o"'), "proced",
     "step 1, procedure", "use small letters"),
    ("follow with words", HEAD + FOLLOW + 'do = "x"\n', "do =", "step 1, do", "is not a key of this table"),
    ("measure both", HEAD + BIAS.replace('"adjust"', '"measure"').split("trimmers")[0].replace("reference_frequency = 400\n", "")
     .replace('"response"', '"level"') + 'plays = "high"\n', "plays", "step 1, plays", "exclude each other"),
    ("speed measured", HEAD + BIAS.replace('"adjust"', '"measure"').split("trimmers")[0].replace("reference_frequency = 400\n", "")
     .replace('"response"', '"speed_drift"'), "speed_drift", "step 1, quantity", "always agrees with its own recording"),
    ("escape", GOOD.replace('"Look."', '"\\u001b[31m"'), "u001b", "step 6, do", "hidden character U+001B"),
    ("C1", GOOD.replace('"Look."', '"a\x9bb"'), 'do = "a', "step 6, do", "hidden character U+009B"),
    ("turned round", GOOD.replace('"Look."', '"a\u202eb"'), 'do = "a', "step 6, do", "hidden character U+202E"),
    ("hidden in a list", GOOD.replace('"much"', '"mu\u200bch"'), "choices", "step 6, choices 2", "U+200B"),
    ("syntax", GOOD.replace('= "Look."', '= "Look.'), "Look.", "", "is not TOML: "),
    ("twice", GOOD.replace('do = "Look."', 'do = "Look."\ndo = "x"'), 'do = "x"', "", "is not TOML: cannot overwrite"),
]  # fmt: skip


def _line_of(text: str, needle: str) -> int | None:
    """The last line that holds the needle."""
    if not needle:
        return None
    return max(n for n, line in enumerate(text.splitlines(), start=1) if needle in line)


@pytest.mark.parametrize(("text", "needle", "key", "said"), [m[1:] for m in MISTAKES], ids=[m[0] for m in MISTAKES])
def test_each_mistake_is_told_once(tmp_path: Path, text: str, needle: str, key: str, said: str) -> None:
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    read = read_procedure(path)
    assert len(read.findings) == 1, [f.sentence for f in read.findings]
    finding = read.findings[0]
    assert said in f"{finding.message}; {finding.remedy}"
    assert finding.key == key
    if needle:
        assert finding.line == _line_of(text, needle)
    with pytest.raises(Problem) as raised:
        read_procedure(path).whole()
    assert raised.value.sentence == finding.sentence


def test_a_missing_key_of_a_step_is_told_at_the_step(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    text = GOOD.replace('do = "Look."\n', "")
    path.write_text(text, encoding="utf-8")
    assert read_procedure(path).findings[0].line == _line_of(text, "[[step]]")


def test_the_good_one_has_no_finding(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert read_procedure(path).findings == []
    assert read_procedure(path).whole().title == "A line-up"


def test_ten_mistakes_are_told_each_once(tmp_path: Path) -> None:
    text = (
        GOOD.replace('title = "A line-up"', "titel = 3")  # 1 unknown, 2 missing
        .replace("minutes = 5", "minutes = true")  # 3
        .replace('does = ["clean", "demagnetise"]', 'does = ["clen", "demagnetise"]')  # 4
        .replace("frequency = 10000\nref", "frequency = 9000\nref")  # 5
        .replace('left = "bias left"', 'both = "bias left"')  # 6
        .replace("reference_hz = 400", "reference_hz = 401")  # 7
        .replace("hz = 400, db = 0 }", "hz = 400, db = inf }")  # 8
        .replace('["little", "much"]', '["little"]')  # 9
        .replace('id = "wear"', 'id = "clean"')  # 10
        .replace('"Look."', '"Look\\u0007."')  # 11
    )
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    findings = read_procedure(path).findings
    assert [f.key for f in findings] == [
        "title",
        "titel",
        "takes_minutes",
        "step 1, does 1",
        "step 4, frequency",
        "step 4, trimmers.both",
        "step 5, sends 1, db",
        "step 6, id",
        "step 6, do",
        "step 6, choices",
    ]
    with pytest.raises(Problem, match=r"\(and 9 more; tapebench validate lists all\)$"):
        read_procedure(path).whole()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b" \n\n", "is empty"),
        (b"\xef\xbb\xbf" + GOOD.encode(), "byte order mark"),
        (b"format = 1\n# caf\xe9\n", "is not UTF-8 text"),
        (GOOD.encode("utf-16"), "is not UTF-8 text"),
        (b"x = " + b"[" * 5000, "nested too deep"),
        (b"#" * 1_000_001, "is larger than 1,000,000 bytes"),
        (b"x = " + b"9" * 5000, "is not TOML"),
        (b"\x7fELF\x00\x01", "is not TOML"),
    ],
)
def test_a_file_that_is_no_toml_text(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "p.toml"
    path.write_bytes(content)
    findings = read_procedure(path).findings
    assert len(findings) == 1
    assert said in findings[0].sentence


def test_a_folder_and_a_missing_file(tmp_path: Path) -> None:
    assert "is a folder" in read_procedure(tmp_path).findings[0].sentence
    assert "no such file" in read_procedure(tmp_path / "none.toml").findings[0].sentence
    assert "no such file" in read_procedure(tmp_path / "a\0b").findings[0].sentence


def test_the_line_of_a_syntax_error(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text("format = 1\ntitle = = 3\n", encoding="utf-8")
    assert read_procedure(path).findings[0].sentence.startswith(f"{path}:2: is not TOML: ")


def test_text_may_break_its_lines_where_it_likes(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text(GOOD.replace('"Look."', '"""\nLook\n  here.\n\nThen there.\n"""'), encoding="utf-8")
    step = read_procedure(path).whole().step[-1]
    assert getattr(step, "do", "") == "Look here.\n\nThen there."


SHEET_MISTAKES = [
    ("kind missing", "machine", MACHINE.replace('sheet = "machine"\n', ""), "sheet", "missing"),
    ("other kind", "machine", TAPE, "sheet", 'must be "machine", not "tape"'),
    ("future", "tape", TAPE.replace("format = 1", "format = 3"), "format", "newer"),
    ("heads", "machine", MACHINE.replace("heads = 3", "heads = 4"), "heads", "is not a choice here"),
    ("speed", "machine", MACHINE.replace("= 47.625", "= 0"), "speed_mm_s", "greater than 0"),
    ("one constant", "machine", MACHINE.replace("[3180, 120]", "[3180]"), "equalisation_us", "2"),
    ("three constants", "machine", MACHINE.replace("[3180, 120]", "[3180, 120, 70]"), "equalisation_us", "2"),
    ("too loud", "machine", MACHINE.replace("send_dbfs = -12", "send_dbfs = 3"), "reference.send_dbfs", "full scale"),
    ("no tolerance", "machine", MACHINE.replace('"µs"\ntolerance = 5', '"µs"'), "targets.azimuth.tolerance", "nothing can be"),
    ("no source", "tape", TAPE.replace('source = "common practice, no source"\n', ""), "targets.bias.source", "missing"),
    ("band", "machine", MACHINE.replace("from_hz = 40,", "from_hz = 20000,"), "targets.replay_response.bands 1", "not a range"),
    ("target name", "tape", TAPE.replace("targets.bias", 'targets."The Bias"'), "targets.The Bias", "no step can name it"),
    ("type", "tape", TAPE.replace('"I"', '"III"'), "iec_type", "is not a choice"),
    ("section twice", "reference-tape", REFERENCE_TAPE.replace('"high"', '"level"'), "section 2, id", "there twice"),
    ("purpose", "reference-tape", REFERENCE_TAPE.replace('"azimuth"', '"height"'), "section 3, purpose", "is not a choice"),
    ("trimmer twice", "machine", 'trimmers = ["bias", "bias"]\n' + MACHINE, "trimmers 2", "there twice"),
    ("mended", "fault", FAULT.replace('["clean"]', '["pray"]'), "mended_by 1", "is not a choice"),
    ("practice list", "fault", FAULT.replace("= 1.0", "= [1]"), "practice.replay_dirt_left_um", "must be a number or text or true or false"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "text", "key", "said"), [m[1:] for m in SHEET_MISTAKES], ids=[m[0] for m in SHEET_MISTAKES]
)
def test_each_mistake_of_a_sheet(tmp_path: Path, kind: str, text: str, key: str, said: str) -> None:
    path = tmp_path / "s.toml"
    path.write_text(text, encoding="utf-8")
    findings = read_sheet(path, kind).findings  # type: ignore[arg-type]
    assert [f.key for f in findings] == [key], [f.sentence for f in findings]
    assert said in f"{findings[0].message}; {findings[0].remedy}"


def test_good_sheets_load(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(MACHINE, encoding="utf-8")
    assert load_sheet(path, "machine").heads == 3
    path.write_text(REFERENCE_TAPE, encoding="utf-8")
    assert [s.id for s in load_sheet(path, "reference-tape").section] == ["level", "high", "skew"]
    with pytest.raises(Problem, match='must be "machine", not "reference-tape"'):
        load_sheet(path, "machine")


def test_a_file_is_understood_once_and_anew_when_its_content_changed(tmp_path: Path) -> None:
    path = tmp_path / "quick-check.toml"
    text = (shipped_procedures() / "quick-check.toml").read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    first = read_procedure(path)
    assert first.model is not None
    assert read_procedure(path) is first
    times = path.stat()
    path.write_text(text.replace("Quick", "Short", 1), encoding="utf-8")  # same length and same modification time
    os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))
    again = read_procedure(path)
    assert again.model is not None
    assert again.model.title != first.model.title

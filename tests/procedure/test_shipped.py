"""The shipped procedures and sheets, intact and damaged."""

from __future__ import annotations

import random
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.procedure.load.validate import check_files, files_in
from bench.procedure.model.step_base import TARGET
from bench.procedure.model.steps import (
    Adjust,
    ByHand,
    Entry,
    Follow,
    Measure,
    RecordReplay,
    Reference,
    SignOff,
    StepBase,
)
from bench.procedure.run.views import step_view
from bench.workspace import Workspace, shipped_procedures
from tests.cases import cases

SHIPPED = shipped_procedures()
LIBRARY = Library(Workspace(SHIPPED.parent))
WHOLE = [p.name for p in LIBRARY.procedures() if not p.part]


def _own_steps() -> list[Any]:
    steps = [
        (path.stem, step)
        for path in sorted(SHIPPED.glob("*.toml"))
        for step in tomllib.loads(path.read_text(encoding="utf-8"))["step"]
    ]
    return [pytest.param(step, id=f"{name}-{step['id']}") for name, step in steps]


def test_nothing_shipped_has_a_problem() -> None:
    assert [f.sentence for f in check_files(files_in([SHIPPED]), LIBRARY.workspace)] == []


@pytest.mark.parametrize("step", _own_steps())
def test_every_step_tells_a_trainee_why_and_a_technician_what(step: dict[str, Any]) -> None:
    if step["kind"] == "follow":
        return
    for key in ("do", "why", "good", "if_not"):
        assert step.get(key, "").strip(), key
    # Read at arm's length beside a machine: about five lines at 80 columns.
    assert len(" ".join(step["do"].split())) <= 300
    for key in ("why", "good", "if_not"):
        assert len(" ".join(step[key].split())) <= 260, key
    for caution in step.get("cautions", ()):
        assert len(" ".join(caution["say"].split())) <= 260


@pytest.mark.parametrize("name", WHOLE)
def test_whoever_sends_tones_is_warned_of_them(name: str) -> None:
    for step in LIBRARY.load_job(name).steps:
        if isinstance(step, Reference | RecordReplay) or (isinstance(step, Adjust) and step.sends):
            assert "loud-tones" in _hazards(step), step.id
        if isinstance(step, StepBase) and "demagnetise" in getattr(step, "does", ()):
            assert "demagnetiser" in _hazards(step)


@pytest.mark.parametrize("name", WHOLE)
def test_the_figure_stands_where_a_text_names_its_target(name: str) -> None:
    job = LIBRARY.load_job(name)
    for n in range(len(job.steps)):
        view = step_view(job, n)
        assert view is not None
        for text in (view.do, view.good, view.why, view.if_not, *view.hints):
            assert TARGET not in text
            assert "within at " not in text.casefold()


def _hazards(step: StepBase) -> set[str]:
    return {c.hazard for c in step.cautions}


RECORD = {
    "line-up-cassette": [
        "record-azimuth-coarse",
        "record-azimuth",
        "record-level-control",
        "bias",
        "record-level",
        "record-equalisation",
    ],
    "cassette-three-head": [
        "record-azimuth-coarse",
        "record-azimuth",
        "record-level-control",
        "bias",
        "record-level",
        "record-equalisation",
    ],
    "cassette-two-head": ["record-level-control", "bias", "record-level", "record-equalisation"],
    "open-reel-iec": [
        "record-azimuth-coarse",
        "record-azimuth",
        "record-level-control",
        "bias-381",
        "record-level",
        "record-equalisation",
    ],
    "open-reel-nab": [
        "record-azimuth-coarse",
        "record-azimuth",
        "record-level-control",
        "bias-381",
        "record-level",
        "record-equalisation",
    ],
    "first-line-up": [
        "record-azimuth-coarse",
        "record-azimuth",
        "record-level-control",
        "bias",
        "record-level",
        "record-equalisation",
    ],
}
"""The line-ups, and the order in which each sets the record side."""


@pytest.mark.parametrize("name", RECORD)
def test_a_line_up_has_the_order_of_the_trade(name: str) -> None:
    """Dirt, magnetism, warm-up, speed, azimuth, replay, record, as left: common practice, no source."""
    job = LIBRARY.load_job(name)
    ids = [s.id for s in job.steps]
    reel = name.startswith("open-reel")
    order = [
        "found-dirty/response",
        "clean/metal",
        "demagnetise/demagnetise",
        "warm-up/half-an-hour" if reel else "warm-up/ten-minutes",
        "found-clean/response",
        "found-replay/play",
        "speed/speed",
        "replay/azimuth-coarse",
        "replay/azimuth-middle",
        "replay/azimuth",
        "replay/replay-level",
        "replay/replay-equalisation",
        "replay/replay-level-again",
        "replay/play",
        "work-tape/swap-reel" if reel else "work-tape/swap",
        *(f"record/{step}" for step in RECORD[name]),
        "record/check",
        "left-record/response",
    ]
    assert [i for i in ids if i in order] == order
    stages = {s.id: s.stage for s in job.steps}
    assert stages["found-dirty/response"] == "found-dirty"
    assert stages["found-clean/response"] == stages["found-replay/play"] == "found-clean"
    assert stages["left-record/response"] == stages["replay/play"] == "left"


@pytest.mark.parametrize("name", RECORD)
def test_as_left_is_the_same_list_as_as_found(name: str) -> None:
    steps = LIBRARY.load_job(name).steps
    follows = {"found-dirty": "found-dirty", "found-clean": "found-clean", "found-replay": "found-clean"}
    follows |= {"replay": "left", "left-record": "left"}
    measured = [s for s in steps if isinstance(s, Reference | RecordReplay) and s.id.split("/")[0] in follows]
    lists = {
        stage: {s.id.split("/")[1] for s in measured if s.stage == stage}
        for stage in ("found-dirty", "found-clean", "left")
    }
    assert lists["found-clean"] == lists["left"] == {"play", "level", "response"}
    assert lists["found-dirty"] == {"level", "response"}, "a dirty machine does not meet the reference tape"


def test_what_shipped_is_enough_to_choose_from() -> None:
    counts = {kind: len(LIBRARY.sheets(kind)) for kind in ("machine", "tape", "reference-tape", "interface")}
    assert counts["machine"] >= 6
    assert counts["tape"] >= 8
    assert counts["reference-tape"] >= 5
    assert counts["interface"] >= 2
    machines = [LIBRARY.load_job("clean", m.name).machine for m in LIBRARY.sheets("machine") if "reel" not in m.name]
    assert any(m.auto_reverse for m in machines)
    assert any(m.noise_reduction for m in machines)


def test_every_target_says_where_it_comes_from() -> None:
    for path in [*SHIPPED.glob("sheets/machines/*.toml"), *SHIPPED.glob("sheets/tapes/*.toml")]:
        for name, target in tomllib.loads(path.read_text(encoding="utf-8"))["targets"].items():
            assert len(target["source"]) > 5, (path.name, name)


def test_an_auto_reverse_deck_has_its_azimuth_set_both_ways() -> None:
    ids = [s.id for s in LIBRARY.load_job("cassette-two-head", "auto-reverse-cassette").steps]
    both = [i for i in ids if i.startswith("replay/azimuth")]
    assert [i for i in both if i.endswith("-reverse")] == [
        "replay/azimuth-coarse-reverse",
        "replay/azimuth-middle-reverse",
        "replay/azimuth-reverse",
    ]


@pytest.mark.parametrize("name", [p.name for p in LIBRARY.procedures()])
def test_whoever_asks_gets_a_hint_to_think_to_look_and_to_do(name: str) -> None:
    for step in tomllib.loads((SHIPPED / f"{name}.toml").read_text(encoding="utf-8"))["step"]:
        if step["kind"] != "follow":
            assert len(step["hints"]) == 3, step["id"]


# ---------------------------------------------------------------- damaged files

TEXTS = {p: p.read_bytes() for p in files_in([SHIPPED])}


def _damaged(content: bytes, how: random.Random) -> bytes:
    """One to four small errors, as made by a slip of the hand or a bad disk."""
    data = bytearray(content)
    for _ in range(how.randint(1, 4)):
        at = how.randrange(len(data) + 1)
        match how.randrange(7):
            case 0:
                data[at : at + 1] = bytes([how.randrange(256)])
            case 1:
                del data[at : at + how.choice((1, 2, 10, 200))]
            case 2:
                data[at:at] = how.choice(PIECES)
            case 3:
                line = how.choice(content.splitlines(keepends=True))
                data[at:at] = line
            case 4:
                del data[at:]
            case 5:
                start = how.randrange(len(data) + 1)
                data[at:at] = data[start : start + how.choice((5, 50, 500))]
            case _:
                old, new = how.choice(SWAPS)
                data = data.replace(old, new, how.randint(1, 3))
    return bytes(data)


PIECES = (
    *""" " ' [ ] [[ { } = # \\ nan -inf 1e999 0x true 1979-05-27 . , [step] [[step]] \u202e \u009b """.encode().split(),
    *(b'"""', b"\n", b"\r\n", b"\x00", b"\x1b", b"\xff", b"9" * 400, b"\na.b.c = 1\n"),
)
SWAPS = (
    (b" = ", b" = nan #"),
    (b" = ", b" = [] #"),
    (b" = ", b" = {} #"),
    (b" = ", b" = -1 #"),
    (b" = ", b" = 10000000000000000000000000000000000000000000000000 #"),
    (b" = ", b" = 1e308 #"),
    (b"[[step]]", b"[step]"),
    (b'kind = "', b'kind = "x'),
    (b"by-hand", b"follow"),
    (b"adjust", b"measure"),
    (b"sends", b"plays"),
    (b"[[", b"["),
    (b"]]", b"]"),
    (b'"', b""),
    (b"id", b"do"),
)


def _check(bench: Workspace, path: Path, content: bytes) -> None:
    """Whether damaged or not, a file is correct or reported in whole sentences, and loading agrees with checking."""
    path.write_bytes(content)
    findings = check_files([path], bench)
    for finding in findings:
        assert finding.message
        assert finding.remedy
        assert finding.sentence.isprintable()
        assert finding.line is None or 1 <= finding.line <= content.count(b"\n") + 1
    if path.parent == bench.procedures:
        assert _refused(bench, path) == bool(findings)


def _refused(bench: Workspace, path: Path) -> bool:
    try:
        Library(bench).load_job(path)
    except Problem:
        return True
    return False


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    root = tmp_path_factory.mktemp("bench")
    for path, content in TEXTS.items():
        target = root / "procedures" / path.relative_to(SHIPPED)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    return Workspace(root)


def _damage_many(bench: Workspace, times: int) -> None:
    how = random.Random(1972)
    for _ in range(times):
        path = how.choice(list(TEXTS))
        target = bench.procedures / path.relative_to(SHIPPED)
        try:
            _check(bench, target, _damaged(TEXTS[path], how))
        finally:
            target.write_bytes(TEXTS[path])


def test_a_damaged_file_is_told_never_thrown(copy: Workspace) -> None:
    _damage_many(copy, 300)


@pytest.mark.long
def test_twenty_thousand_damaged_files(copy: Workspace) -> None:
    _damage_many(copy, 20_000)


ODD = st.recursive(
    st.one_of(
        st.text(max_size=5),
        st.integers(),
        st.floats(),
        st.booleans(),
        st.dates(),
        st.sampled_from(["level", "clean", "x"]),
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["hz", "db", "left", "say"]), inner),
    max_leaves=5,
)


_MODELS = (ByHand, Reference, Adjust, RecordReplay, Measure, Entry, Follow, SignOff)
KEYS = sorted({key for model in _MODELS for key in model.model_fields})
KINDS = sorted({m.model_fields["kind"].annotation.__args__[0] for m in _MODELS})  # type: ignore[union-attr]


@given(st.lists(st.dictionaries(st.sampled_from(KEYS), ODD | st.sampled_from(KINDS)), max_size=4))
@cases(150, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_step_made_of_odd_values_is_told(copy: Workspace, steps: list[dict[str, Any]]) -> None:
    import tomli_w

    text = tomli_w.dumps({"format": 1, "title": "x", "summary": "x", "takes_minutes": 1, "step": steps})
    path = copy.procedures / "odd.toml"
    try:
        _check(copy, path, text.encode("utf-8", "surrogatepass"))
    finally:
        path.unlink()

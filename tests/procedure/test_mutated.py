"""Procedures and sheets damaged in any way are reported, with no traceback and no endless loop.

The long test tries 20,000 of each. Half of the procedures have wrong keys, values and steps, half wrong bytes.
"""

from __future__ import annotations

import copy
import os
import random
import re
import signal
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bench.practice.physics import machine_physics, tape_physics
from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.procedure.load.reader import SHEETS as KINDS
from bench.procedure.load.reader import load_sheet
from bench.procedure.load.validate import check_files
from bench.workspace import Workspace, shipped_procedures
from tests.cases import cases

LIMIT_S = 5
"""No file takes so long, whatever the machine: without a limit an endless loop would hang the tests."""

SHIPPED = sorted(shipped_procedures().glob("*.toml"))
SHEETS = sorted((shipped_procedures() / "sheets").rglob("*.toml"))
WORDS = (
    "",
    "x",
    "a/b",
    "../clean",
    "machine.replay_level",
    "\x1b[31m",
    "\u202e",
    "é" * 300,
    "clean",
    "left",
    "on",
    "sign",
)
VALUES = st.one_of(
    st.sampled_from(WORDS),
    st.integers(-(10**20), 10**20),
    st.floats(),
    st.booleans(),
    st.lists(st.sampled_from(WORDS), max_size=3),
    st.dictionaries(
        st.sampled_from(("both", "left", "hz", "back_to", "say", "heads")), st.sampled_from(WORDS), max_size=3
    ),
    st.just([{"hz": 400, "db": 0}, {"hz": 400, "db": 0}]),
    st.just([[[]]]),
    st.just({"a": {"b": [{"c": 1}]}}),
)


@contextmanager
def in_time() -> Iterator[None]:
    """Fails if something runs endlessly; in processor time, so that other work on the computer does not matter."""
    if not hasattr(signal, "SIGPROF"):
        yield
        return

    def over(*_: object) -> None:
        raise AssertionError(f"it took longer than {LIMIT_S} s of processor time")

    before = signal.signal(signal.SIGPROF, over)
    signal.setitimer(signal.ITIMER_PROF, LIMIT_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def _look(path: Path, workspace: Workspace) -> None:
    """Everything that reads a procedure, on this file."""
    with in_time():
        findings = check_files([path], workspace)
    for finding in findings:
        assert finding.message
        assert finding.remedy
        assert finding.sentence.isprintable()
        assert finding.line is None or finding.line >= 1
    with in_time():
        if not findings:
            assert Library(workspace).load_job(path).steps
            return
        with pytest.raises(Problem) as raised:
            Library(workspace).load_job(path)
    assert "\n" not in raised.value.sentence


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    import shutil

    root = tmp_path_factory.mktemp("mutated")
    shutil.copytree(shipped_procedures(), root / "procedures")
    return root


def _places(value: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    out = [at] if at else []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        out += _places(inner, (*at, key))
    return out


def _holder(data: Any, at: tuple[Any, ...]) -> Any:
    for part in at[:-1]:
        data = data[part]
    return data


@st.composite
def _spoilt(draw: st.DrawFn) -> bytes:
    """A shipped procedure with one to six mistakes."""
    import tomllib

    data = tomllib.loads(draw(st.sampled_from(SHIPPED)).read_text(encoding="utf-8"))
    for _ in range(draw(st.integers(1, 6))):
        places = _places(data)
        if not places:
            break
        at = draw(st.sampled_from(places))
        holder = _holder(data, at)
        match draw(st.sampled_from(("set", "drop", "rename", "twice", "turn", "name"))):
            case "set":
                holder[at[-1]] = copy.deepcopy(draw(VALUES))
            case "drop":
                del holder[at[-1]]
            case "rename" if isinstance(holder, dict):
                holder[draw(st.sampled_from(("kind", "id", "of", "target", "sends", "tilte", "\x00")))] = holder.pop(
                    at[-1]
                )
            case "twice" if isinstance(holder, list):
                holder.insert(0, copy.deepcopy(holder[at[-1]]))
            case "turn" if isinstance(holder, list):
                holder.reverse()
            case "name" if isinstance(holder, dict):
                steps = data.get("step")
                ids = [s.get("id", "") for s in steps if isinstance(s, dict)] if isinstance(steps, list) else [""]
                key = draw(st.sampled_from(("of", "when_in", "when_not", "procedure", "again_until", "applies_to")))
                holder[key] = draw(st.sampled_from([i for i in ids if isinstance(i, str)] or [""]))
    return tomli_w.dumps(data).encode("utf-8", "surrogatepass")


RAW = (
    b"[",
    b"]",
    b'"',
    b'"""',
    b"=",
    b"\n",
    b"{",
    b"\x00",
    b"[[step]]\n",
    b"#",
    b"\x1b[31m",
    b"\nx = 0x" + b"f" * 5000 + b"\n",
    b"\n" + b"a." * 3000 + b"b = 1\n",
    b"\nx = " + b"[" * 3000 + b"\n",
)
NUMBERS = (b"1e308", b"-1e308", b"86400", b"-1", b"0", b"0.0", b"1e-320", b"nan", b"inf", b"1000000")


def _by_bytes(rng: random.Random, path: Path) -> bytes:
    """A file with one to eight changes of its bytes and figures."""
    content = bytearray(path.read_bytes())
    for _ in range(rng.randint(1, 8)):
        if not content:
            break
        here = rng.randrange(len(content))
        length = rng.randint(1, 40)
        match rng.randrange(8):
            case 6 | 7:
                figures = [m.span() for m in re.finditer(rb"(?<== )-?[\d.]+", content)]
                if figures:
                    first, last = rng.choice(figures)
                    content[first:last] = rng.choice(NUMBERS)
            case 0:
                content[here] = rng.randrange(256)
            case 1:
                del content[here : here + length]
            case 2:
                content[here:here] = rng.choice(RAW)
            case 3:
                content[here:here] = content[here : here + length * 10]
            case 4:
                there = rng.randrange(len(content))
                content[here : here + length] = content[there : there + length]
            case 5:
                del content[here:]
    return bytes(content)


def _seeds(count: int, parts: int) -> list[range]:
    return [range(n * count // parts, (n + 1) * count // parts) for n in range(parts)]


def _look_at_sheet(path: Path, workspace: Workspace) -> None:
    """Everything that reads a sheet, on this file; a machine's or a tape's becomes a practice machine."""
    kind = next(kind for kind, (name, _) in KINDS.items() if name in path.parts)
    with in_time():
        findings = check_files([path], workspace)
    assert all(finding.sentence.isprintable() and finding.remedy for finding in findings)
    with in_time():
        if findings:
            with pytest.raises(Problem) as raised:
                load_sheet(path, kind)
            assert "\n" not in raised.value.sentence
            return
        sheet: Any = load_sheet(path, kind)
        with suppress(Problem):
            if kind == "machine":
                machine_physics(sheet)
            elif kind == "tape":
                tape_physics(sheet)


def all_by_bytes(folder: Path, seeds: range, files: list[Path]) -> None:
    for seed in seeds:
        rng = random.Random(seed)
        shipped = rng.choice(files)
        sheet = "sheets" in shipped.parts
        path = folder / "procedures" / shipped.relative_to(shipped_procedures()).with_name("spoilt.toml")
        path.write_bytes(_by_bytes(rng, shipped))
        try:
            (_look_at_sheet if sheet else _look)(path, Workspace(folder))
        except BaseException:
            (folder / f"failed-{os.getpid()}.toml").write_bytes(path.read_bytes())
            print(f"seed {seed}")
            raise


def _by_keys(folder: Path, content: bytes) -> None:
    path = folder / "procedures" / "spoilt.toml"
    path.write_bytes(content)
    _look(path, Workspace(folder))


_FOLDER_STAYS = (HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large)


def test_bytes(folder: Path) -> None:
    all_by_bytes(folder, range(200), SHIPPED)


def test_sheets(folder: Path) -> None:
    all_by_bytes(folder, range(300), SHEETS)


@cases(150, suppress_health_check=_FOLDER_STAYS)
@given(content=_spoilt())
def test_keys(folder: Path, content: bytes) -> None:
    _by_keys(folder, content)


@pytest.mark.parametrize("key", ["machine", "tape", "reference_tape"])
def test_a_sheet_named_by_an_escape(folder: Path, key: str) -> None:
    """Text of a file that is repeated in a message cannot act on a terminal."""
    shipped = (shipped_procedures() / "quick-check.toml").read_text(encoding="utf-8")
    lines = [line for line in shipped.splitlines() if not line.startswith(f"{key} =")]
    at = lines.index("format = 1")
    named = "\n".join([*lines[: at + 1], f'{key} = "\\u001b[31m"', *lines[at + 1 :]])
    _by_keys(folder, named.encode())


@pytest.mark.long
@pytest.mark.parametrize("seeds", _seeds(10_000, 10), ids=str)
def test_ten_thousand_by_bytes(folder: Path, seeds: range) -> None:
    all_by_bytes(folder, seeds, SHIPPED)


@pytest.mark.long
@pytest.mark.parametrize("seeds", _seeds(20_000, 10), ids=str)
def test_twenty_thousand_sheets(folder: Path, seeds: range) -> None:
    all_by_bytes(folder, seeds, SHEETS)


@pytest.mark.long
@settings(max_examples=10_000, deadline=None, suppress_health_check=_FOLDER_STAYS)
@given(content=_spoilt())
def test_ten_thousand_by_keys(folder: Path, content: bytes) -> None:
    _by_keys(folder, content)

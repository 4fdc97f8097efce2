"""Sessions damaged in any way: no fault of the program, no hang, nothing raw on a terminal, nothing written outside.

A mutant is a kept session with one to six errors: in structure, bytes, numbers, texts, or the kind of its file.
"""

from __future__ import annotations

import contextlib
import copy
import io
import os
import random
import resource
import shutil
import tomllib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from bench.cli import main
from bench.session.record.reader import read_session
from tests.procedure.test_mutated import in_time

FROZEN = Path(__file__).parent / "record" / "frozen"
SAMPLES = {n: (FROZEN / f"schema-{n}" / "session.toml").read_text(encoding="utf-8") for n in (1, 2, 3)}
NAMES = {1: "2025-05-03-1012-one", 2: "2025-06-03-1012-two", 3: "2025-07-03-1012-three"}
MOST_MB = 400

NUMBERS = (0, -1, 1, 1e308, -1e308, 1e-308, 1e15, 1e16, 2**63, 10**30, float("inf"), float("-inf"), float("nan"), True)
TEXTS = (
    "",
    "\x1b[2J\x1b]0;x\x07",
    "\x9b31m",
    "\u202egnp",
    "a\nb\rc",
    "<script>",
    "é" * 5000,
    "../../../etc/passwd",
    "/dev/zero",
    "=1+1",
    "level",
    "left",
    "out",
    "dB",
)
DATES = (datetime(1, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, tzinfo=UTC), datetime(2025, 1, 1))  # noqa: DTZ001
OTHERS: tuple[Any, ...] = ([], {}, [[[]]], {"a": {"b": [1]}}, [{"step": "x"}])
RAW = (
    b"[" * 3000,
    b"a." * 400 + b"b = 1\n",
    b"schema = 0x" + b"f" * 5000 + b"\n",
    b"x = " + b"9" * 5000 + b"\n",
    b"\x00\xff\xfe",
    b'"""',
    b"\n[[readings]]\n",
    b"\r",
    b"\n[verdict]\nout = [1]\n",
)


def by_structure(rng: random.Random, text: str) -> bytes:
    """Change keys, values and tables of the parsed file."""
    data = tomllib.loads(text)
    for _ in range(rng.randint(1, 6)):
        places = _places(data)
        at = rng.choice(places)
        holder = data
        for part in at[:-1]:
            holder = holder[part]
        key = at[-1]
        match rng.randrange(6):
            case 0:
                del holder[key]
            case 1:
                holder[key] = rng.choice(NUMBERS)
            case 2:
                holder[key] = rng.choice(TEXTS)
            case 3:
                holder[key] = copy.deepcopy(rng.choice((*DATES, *OTHERS)))
            case 4 if isinstance(holder, list):
                holder.insert(0, copy.deepcopy(holder[key]))
            case 5 if isinstance(holder, dict):
                holder[rng.choice(("time", "value", "stage", "verdict", "target", "\x1b[7m", "kind"))] = holder.pop(key)
    return tomli_w.dumps(data).encode("utf-8", "surrogatepass")


def _places(value: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    out = [at] if at else []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        out += _places(inner, (*at, key))
    return out or [("schema",)]


def by_bytes(rng: random.Random, text: str) -> bytes:
    """Change, cut, copy or insert bytes."""
    content = bytearray(text.encode())
    for _ in range(rng.randint(1, 6)):
        here, length = rng.randrange(len(content) + 1), rng.randint(1, 60)
        match rng.randrange(5):
            case 0:
                content[here:here] = rng.choice(RAW)
            case 1:
                del content[here : here + length]
            case 2:
                content[here : here + 1] = bytes([rng.randrange(256)])
            case 3:
                there = rng.randrange(len(content) + 1)
                content[here:here] = content[there : there + 20 * length]
            case 4 if rng.random() < 0.3:
                del content[here:]
    return bytes(content)


def by_numbers(rng: random.Random, text: str) -> bytes:
    """Change digits of the figures in the text."""
    lines = text.splitlines(keepends=True)
    figures = [n for n, line in enumerate(lines) if "= " in line and line.rstrip()[-1:].isdigit()]
    for n in rng.sample(figures, min(len(figures), rng.randint(1, 12))):
        key, _, _ = lines[n].partition("= ")
        lines[n] = f"{key}= {rng.choice(('1e400', '-1e308', '1e308', '0', '-0.0', '1e-320', 'inf', 'nan', '9' * 18))}\n"
    return "".join(lines).encode()


def put(folder: Path, rng: random.Random, text: str) -> None:
    """Put a mutant in place of a session's file; sometimes the file becomes something else, such as a folder."""
    path = folder / "session.toml"
    kind = rng.randrange(20)
    if kind == 0:
        path.symlink_to(rng.choice(("/dev/zero", "/proc/self/mem", "session.toml", "..", "nowhere", "/etc/hostname")))
    elif kind == 1:
        os.mkfifo(path)
    elif kind == 2:
        path.mkdir()
    else:
        spoil: Callable[[random.Random, str], bytes] = rng.choice((by_structure, by_structure, by_bytes, by_numbers))
        path.write_bytes(spoil(rng, text))


def say_all(name: str, seed: int) -> None:
    """Every command that reads sessions, on this one and on all; each seed takes one of the forms of a command."""
    other = NAMES[3 if name != NAMES[3] else 1]
    histories = (("history",), ("history", "--machine", "three-head"), ("history", "--machine", "deck", "--json"))
    compares = (("compare", name, other), ("compare", other, name, "--of", "between", "--json"))
    commands = [histories[seed % 3], ("label", name), compares[seed % 2]]
    if seed % 5 == 0:
        commands.append(("report", name, "--text"))
    for command in commands:
        out, err = io.StringIO(), io.StringIO()
        with in_time(), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main([*command])
        assert code in (0, 1, 2), (command, err.getvalue())
        said = out.getvalue() + err.getvalue()
        raw = sorted({c for c in said if not c.isprintable() and c not in "\n\N{NO-BREAK SPACE}"})
        assert not raw, (command, raw)
        assert code != 2 or err.getvalue().count("\n") == 1, (command, err.getvalue())


def _peak_kb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def spoilt(root: Path, seeds: range) -> None:
    before_kb = _peak_kb()
    sessions = root / "ground" / "sessions"
    (root / "ground" / "procedures").mkdir(parents=True)
    sessions.mkdir()
    (root / "outside.txt").write_text("nobody writes here")
    for n, name in NAMES.items():
        shutil.copytree(FROZEN / f"schema-{n}", sessions / name)
    for seed in seeds:
        rng = random.Random(seed)
        n = rng.choice((1, 2, 3))
        folder = sessions / NAMES[n]
        path = folder / "session.toml"
        path.unlink()
        put(folder, rng, SAMPLES[n])
        try:
            with contextlib.chdir(root / "ground"):
                say_all(folder.name, seed)
            if path.is_file() and not path.is_symlink() and seed % 50 == 0:
                with in_time(), contextlib.suppress(Exception):
                    read_session(folder)
        except BaseException:
            print(f"seed {seed}")
            raise
        if path.is_dir() and not path.is_symlink():
            path.rmdir()
            path.touch()
    assert sorted(p.name for p in root.iterdir()) == ["ground", "outside.txt"]
    assert (root / "outside.txt").read_text() == "nobody writes here"
    # A peak reached by earlier tests in the same process says nothing about this one.
    assert _peak_kb() <= max(before_kb, MOST_MB * 1024)


def test_spoilt_sessions(tmp_path: Path) -> None:
    spoilt(tmp_path, range(25))


@pytest.mark.long
@pytest.mark.parametrize("part", range(40))
def test_twenty_thousand_spoilt_sessions(tmp_path: Path, part: int) -> None:
    spoilt(tmp_path, range(part * 500, (part + 1) * 500))

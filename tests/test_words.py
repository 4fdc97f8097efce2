"""One word for one thing: the glossary, checked in every text that a person reads.

Texts are the procedures and sheets, README.md, and the strings of the code without its docstrings. Keys and ids of
files are names, not texts, and stay as they are.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

SECOND_WORDS: dict[str, str] = {
    "work tape": "tape in use, blank or check tape",
    "tape of no worth": "scrap tape",
    "tape of worth": "good tape",
    "test tape": "reference tape",
    "calibration tape": "reference tape",
    "leader mark": "start mark",
    "monitors down": "loudspeakers down",
    "found dirty": "as found, before cleaning",
    "found clean": "as found, after cleaning",
    "replayed less recorded": "replayed minus recorded",
    "unattended hands": "nobody is there",
}
"""Synonyms, and the word to use instead."""

FORBIDDEN = (
    "mortal",
    "askew",
    "by hairs",
    "of worth",
    "dearest",
    "are let pass",
    "gives out",
    "give out",
    "stands to",
    "wavers",
    "makes good",
    "made good",
    "by itself",
    "by themselves",
    "be told what was so",
    "come of it",
    "lands in the report",
    "takes its measure",
    "take its measure",
    "by comb",
    "fall out",
    "can't be told",
    "cannot be told",
    "makes dull",
)
"""Archaisms and riddles."""

MAY_SAY = {Path("bench/session/record/migrate.py"), Path("bench/session/record/migrate_methods.py")}
"""Words that occur in files of earlier schemas."""

WORDS = re.compile(rf"\b({'|'.join([*SECOND_WORDS, *FORBIDDEN])})\b", re.IGNORECASE)


def texts(root: Path) -> Iterator[tuple[str, str]]:
    """Every text with its place."""
    for path in sorted((root / "procedures").rglob("*.toml")):
        yield from ((f"{path.relative_to(root)}", text) for text in strings(tomllib.loads(path.read_text("utf-8"))))
    readme = root / "README.md"
    if readme.exists():
        yield "README.md", readme.read_text("utf-8")
    for path in sorted((root / "bench").rglob("*.py")):
        if path.relative_to(root) not in MAY_SAY:
            yield from ((f"{path.relative_to(root)}:{line}", text) for line, text in code_strings(path))


def strings(value: object) -> Iterator[str]:
    """The texts of a file: values, not keys."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from (text for item in value.values() for text in strings(item))
    elif isinstance(value, list):
        yield from (text for item in value for text in strings(item))


def code_strings(path: Path) -> Iterator[tuple[int, str]]:
    """The strings of a module that have a space in them, without docstrings."""
    tree = ast.parse(path.read_text("utf-8"))
    standing_alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        text = getattr(node, "value", None) if isinstance(node, ast.Constant) else None
        if isinstance(text, str) and " " in text.strip() and id(node) not in standing_alone:
            yield getattr(node, "lineno", 0), text


def offences(root: Path) -> list[str]:
    """Each word that the glossary rejects, with its place and the word to use."""
    out = []
    for place, text in texts(root):
        for found in WORDS.finditer(" ".join(text.split())):
            word = found[0].casefold()
            out.append(f"{place}: “{word}”; say {SECOND_WORDS.get(word, 'it plainly')}")
    return out


def test_every_text_keeps_to_the_glossary() -> None:
    assert offences(ROOT) == []


@pytest.mark.parametrize(
    ("file", "text", "word"),
    [
        ("procedures/a.toml", 'do = "Load the work tape."', "work tape"),
        ("procedures/a.toml", 'do = """\nTurn it by\nhairs."""', "by hairs"),
        ("procedures/sheets/faults/a.toml", 'tells = "The equaliser makes good what is lost."', "makes good"),
        ("README.md", "Monitors down before any tone.", "monitors down"),
        ("bench/a.py", 'SAID = f"{1} leader mark"\n', "leader mark"),
    ],
)
def test_a_planted_word_is_found(tmp_path: Path, file: str, text: str, word: str) -> None:
    path = tmp_path / file
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    (found,) = offences(tmp_path)
    assert f"“{word}”" in found


def test_keys_and_docstrings_are_no_texts(tmp_path: Path) -> None:
    for file, text in (("procedures/a.toml", 'id = "work-tape"'), ("bench/a.py", '"""The work tape."""\n')):
        (tmp_path / file).parent.mkdir(parents=True)
        (tmp_path / file).write_text(text, encoding="utf-8")
    assert offences(tmp_path) == []

"""Mistakes of a file, described in the terms of the file."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, time
from pathlib import Path
from typing import Any

from bench.words.sentences import counted

KeyPath = tuple[str | int, ...]
"""A place in a file: keys, and list indices from 0."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A mistake with its file and line."""

    file: Path
    line: int | None
    """From 1; None where the line is not known."""
    key: str
    """`step 3, target`; "" for the file as a whole."""
    message: str
    remedy: str

    @property
    def sentence(self) -> str:
        """`file:line: key: message; remedy`."""
        where = f"{self.file}" if self.line is None else f"{self.file}:{self.line}"
        parts = (where, self.key, f"{self.message}; {self.remedy}")
        return visible(": ".join(part for part in parts if part), longest=8192)


@dataclass(frozen=True, slots=True)
class Mistake:
    """A mistake at a place, before file and line are known."""

    at: KeyPath
    message: str
    remedy: str
    about: tuple[str, ...] = ()
    """Keys of the same step on which it depends; it is not reported where one of them has a mistake."""


StepMistake = tuple[tuple[str | int, ...], str, str, tuple[str, ...]]
"""A mistake within a step: place, message, remedy, and the keys on which it depends."""


def without_echoes(mistakes: Iterable[Mistake], themselves: Iterable[Mistake]) -> list[Mistake]:
    """Drop mistakes that follow from other mistakes, and repeats."""
    bad = {w.at[:3] for w in themselves if not w.about}
    news = [w for w in mistakes if not any((*w.at[:2], key) in bad for key in w.about)]
    return list({(w.at, w.message): w for w in news}.values())


def key_text(at: KeyPath) -> str:
    """A place in words, counted from 1: `step 3, sends 1, hz`."""
    out = ""
    for part in at:
        if isinstance(part, int):
            out += f" {part + 1}"
        elif not out:
            out = visible(part)
        else:
            out += (", " if out[-1].isdigit() and " " in out else ".") + visible(part)
    return out


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """`did you mean "x"?`, or the list of known names."""
    names = list(known)
    close = difflib.get_close_matches(word, names, n=1, cutoff=0.6)
    if close:
        return f'did you mean "{close[0]}"?'
    if not names:
        return "there is none here"
    return "there is " + ", ".join(f'"{n}"' for n in names)


_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def hidden_character(text: str) -> str | None:
    """Code of the first character that controls a terminal or hides text; None without one.

    Control characters (except tab and new line), bidirectional overrides, other invisible formatting, and unassigned
    characters.
    """
    for c in text:
        if c not in "\t\n" and unicodedata.category(c) in _HIDDEN:
            return f"U+{ord(c):04X}"
    return None


def visible(text: object, longest: int = 80) -> str:
    """Text from a file on one line, short and safe to print."""
    shown = "".join(
        c if c == " " or (c.isprintable() and not hidden_character(c)) else f"\\u{ord(c):04x}" for c in str(text)
    )
    return shown if len(shown) <= longest else shown[: longest - 3] + "..."


def kind_of(value: object) -> str:
    """Kind of a value in plain TOML terms."""
    match value:
        case bool():
            return "true" if value else "false"
        case int() | float():
            return "a number"
        case str():
            return "text"
        case list() | tuple():
            return "a list"
        case dict():
            return "a table"
        case date() | time():
            return "a date or time"
    return "nothing"


_WANTED = {
    "string_type": "text",
    "float_type": "a number",
    "int_type": "a whole number",
    "bool_type": "true or false",
    "tuple_type": "a list",
    "dict_type": "a table",
    "date_type": "a date",
    "model_type": "a table",
    "model_attributes_type": "a table",
}

_HOW = {
    "text": "put it in quotes",
    "a number": "write a figure without quotes",
    "a whole number": "write a whole figure without quotes",
    "true or false": "write true or false without quotes",
    "a date": "write it without quotes, as in 2026-03-31",
    "a list": "put it in [ ]",
    "a table": "write it as a table of keys and values",
}


def from_validator(
    data: Any, errors: Iterable[Mapping[str, Any]], keys_at: Callable[[KeyPath], list[str]]
) -> list[Mistake]:
    """Turn errors of the validator into mistakes in the terms of the file, one for each place.

    Args:
        data: what was validated.
        errors: from `ValidationError.errors()` of pydantic.
        keys_at: gives the known keys at a place.
    """
    found: dict[KeyPath, list[Mapping[str, Any]]] = {}
    errors = list(errors)
    for error in errors:
        if error["type"] == "too_short" and _short_by_its_content(error, errors):
            continue
        found.setdefault(_place(data, error), []).append(error)
    return [_mistake(at, together, keys_at) for at, together in found.items()]


def _short_by_its_content(error: Mapping[str, Any], errors: Iterable[Mapping[str, Any]]) -> bool:
    """Whether a list is too short only because the validator left out items that have mistakes of their own."""
    at = error["loc"]
    return any(len(e["loc"]) > len(at) and e["loc"][: len(at)] == at for e in errors)


def _place(data: Any, error: Mapping[str, Any]) -> KeyPath:
    """The part of a location that exists in the file, without union tags and the like."""
    at: list[str | int] = []
    here = data
    for n, part in enumerate(error["loc"]):
        missing = error["type"] == "missing" and n == len(error["loc"]) - 1
        if isinstance(here, dict) and (part in here or missing):
            at.append(part)
            here = here.get(part)
        elif isinstance(here, list | tuple) and isinstance(part, int) and part < len(here):
            at.append(part)
            here = here[part]
    if error["type"].startswith("union_tag"):
        at.append("kind")
    return tuple(at)


def _mistake(at: KeyPath, errors: list[Mapping[str, Any]], keys_at: Callable[[KeyPath], list[str]]) -> Mistake:
    error = errors[0]
    kind, given, more = error["type"], error["input"], error.get("ctx", {})
    name = visible(at[-1]) if at and isinstance(at[-1], str) else "it"
    wanted = [_WANTED[e["type"]] for e in errors if e["type"] in _WANTED]
    if wanted:
        return Mistake(at, f"must be {' or '.join(dict.fromkeys(wanted))}, not {kind_of(given)}", _HOW[wanted[0]])
    match kind:
        case "missing" if isinstance(error["loc"][-1], int):
            count = len(given) + len(errors)
            return Mistake(at, f"has {len(given)} of {count} items", "list them all")
        case "too_long":
            return Mistake(at, f"has {more['actual_length']} items", f"there is room for {more['max_length']}")
        case "missing":
            return Mistake(at, "missing", f"add `{name} = …`")
        case "extra_forbidden":
            return Mistake(at, "is not a key of this table", did_you_mean(name, keys_at(at[:-1])))
        case "literal_error":
            choice = f"{given:g}" if type(given) in {int, float} else quoted(given)
            return Mistake(at, f"{choice} is not a choice here", did_you_mean(str(given), _names(more["expected"])))
        case "union_tag_invalid":
            choices = _names(more["expected_tags"])
            return Mistake(
                at, f"{quoted(given['kind'])} is not a kind of step", did_you_mean(str(more["tag"]), choices)
            )
        case "union_tag_not_found":
            return Mistake(at, "missing", 'write what kind of step it is, as in `kind = "by-hand"`')
        case "string_pattern_mismatch":
            return Mistake(
                at, f"{quoted(given)} does not fit", _PATTERNS.get(more["pattern"], f"it must fit {more['pattern']}")
            )
        case "greater_than":
            return Mistake(at, f"{given} is too small", f"it must be greater than {more['gt']:g}")
        case "greater_than_equal":
            return Mistake(at, f"{given} is too small", f"it must be at least {more['ge']:g}")
        case "less_than_equal":
            return Mistake(at, f"{given} is too large", f"it must be at most {more['le']:g}")
        case "finite_number":
            return Mistake(at, f"{given} is not a number that can be measured", "write a finite figure")
        case "too_short" if given:
            room = f"there must be {more['min_length']} at least"
            return Mistake(at, f"has {counted(len(given), 'item')}", room)
        case "too_short" | "string_too_short" | "blank":
            return Mistake(at, "is empty", "fill it in")
    return Mistake(
        at,
        f"does not fit: {visible(error['msg'])}",
        "see its keys in the schema beside it, procedure.schema.json",
    )


_PATTERNS = {
    r"^[a-z0-9][a-z0-9-]*$": 'use small letters, digits and hyphens, as in "replay-level"',
    r"^(machine|tape)\.[a-z0-9_]+$": 'name a sheet and a target of its, as in "machine.replay_level"',
}


def quoted(value: object) -> str:
    """A value as a message shows it."""
    return f'"{visible(value)}"' if isinstance(value, str) else kind_of(value)


def _names(message: str) -> list[str]:
    """The choices in a message of the validator: "'a', 'b' or 'c'", or figures without quotes."""
    return re.findall(r"'([^']*)'", message) or re.findall(r"[^\s,]+", message.replace(" or ", ", "))

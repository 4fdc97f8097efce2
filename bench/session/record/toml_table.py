"""Writes facts as tables of `session.toml`, one at a time.

Only the header of a table begins a line with a bracket, so that a damaged file can be read table by table.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from typing import Any

import tomli_w

LONGEST_LINE = 100


def table_of(thing: Any) -> dict[str, Any]:
    """The fields of a dataclass that are not None and differ from their default, which need not be stored."""
    out = {}
    for field in fields(thing):
        value = getattr(thing, field.name)
        if value is not None and (field.default is MISSING or value != field.default):
            out[field.name] = value
    return out


def lines(table: Mapping[str, Any]) -> str:
    """A table as text, one line for each key."""
    return "".join(f"{key} = {_value(value)}\n" for key, value in table.items())


def section(head: str, table: Mapping[str, Any]) -> str:
    """A table under its header: `[port]`, `[[events]]`."""
    return f"\n{head}\n{lines(table)}"


def _value(value: Any) -> str:
    if is_dataclass(value) and not isinstance(value, type):
        return _value(table_of(value))
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        items = [_value(item) for item in value]
        whole = "[" + ", ".join(items) + "]"
        if len(whole) <= LONGEST_LINE:
            return whole
        return "[\n" + "".join(f"    {item},\n" for item in items) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if not isinstance(value, str):
        return str(value)  # a number or a date, which TOML writes as Python does
    # Names of devices and files may hold lone surrogates, which cannot be written as UTF-8.
    return tomli_w.dumps({"x": value.encode("utf-8", "replace").decode("utf-8")}).removeprefix("x = ").rstrip("\n")

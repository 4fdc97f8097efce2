"""Tables of a session's file: any content reads back, and only their head looks like a table."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from bench.session.record.toml_table import section, table_of

scalars = st.text(max_size=30) | st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False)
keys = st.text("abcdefghij_", min_size=1, max_size=10)
values = st.recursive(
    scalars, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(keys, inner, max_size=4), max_leaves=12
)


@given(st.dictionaries(keys, values, max_size=5))
def test_what_is_written_reads_back_under_its_head_alone(table: dict[str, Any]) -> None:
    text = section("[[events]]", table)
    assert tomllib.loads(text) == {"events": [table]}
    assert [line for line in text.splitlines() if line.startswith("[")] == ["[[events]]"]


@dataclass
class Inner:
    name: str
    often: int = 1


@dataclass
class Outer:
    inner: tuple[Inner, ...]
    missing: float | None = None
    said: str = "usual"


def test_a_default_and_what_is_absent_need_no_line() -> None:
    text = section("[outer]", table_of(Outer((Inner("a"), Inner("b", 2)))))
    assert tomllib.loads(text) == {"outer": {"inner": [{"name": "a"}, {"name": "b", "often": 2}]}}

"""The themes: dark (lamp), light (paper), and the terminal's own sixteen colours."""

from __future__ import annotations

import os

from textual.theme import BUILTIN_THEMES, Theme


def _theme(name: str, *, dark: bool, ink: str, ground: str, **colours: str) -> Theme:
    """A theme; `colours` are our own roles: quiet, rule, good, bad, close, accent, trace, bar."""
    return Theme(
        name=name,
        primary=colours["accent"],
        secondary=colours["trace"],
        warning=colours["close"],
        error=colours["bad"],
        success=colours["good"],
        accent=colours["accent"],
        foreground=ink,
        background=ground,
        surface=ground,
        panel=colours["bar"],
        dark=dark,
        variables={**colours, "ink": ink, "ground": ground},
    )


LAMP = _theme(
    "lamp",
    dark=True,
    ink="#e9e4d8",
    ground="#15181b",
    quiet="#9b9a90",
    rule="#4a5054",
    good="#86cfa3",
    bad="#f4926b",
    close="#e8cb6a",
    accent="#8fc1d9",
    trace="#cfd8d6",
    bar="#2a3138",
)
PAPER = _theme(
    "paper",
    dark=False,
    ink="#23262b",
    ground="#f6f2e8",
    quiet="#67655c",
    rule="#b9b3a4",
    good="#14693f",
    bad="#a8371a",
    close="#7a5a00",
    accent="#1d5a85",
    trace="#3a4046",
    bar="#e3dccb",
)
SIXTEEN = Theme(
    name="sixteen",
    primary="ansi_cyan",
    secondary="ansi_default",
    warning="ansi_yellow",
    error="ansi_red",
    success="ansi_green",
    accent="ansi_cyan",
    foreground="ansi_default",
    background="ansi_default",
    surface="ansi_default",
    panel="ansi_default",
    boost="ansi_default",
    ansi=True,
    variables=BUILTIN_THEMES["ansi-dark"].variables
    | {
        "quiet": "ansi_default",
        "rule": "ansi_default",
        "good": "ansi_green",
        "bad": "ansi_red",
        "close": "ansi_yellow",
        "accent": "ansi_cyan",
        "trace": "ansi_default",
        "bar": "ansi_default",
        "ink": "ansi_default",
        "ground": "ansi_default",
    },
)
"""Uses the terminal's own background and foreground, so it suits light and dark; also used without any colour."""

THEMES = (LAMP, PAPER, SIXTEEN)


def few_colours() -> bool:
    """Whether to use the terminal's own sixteen colours: it has no more, or NO_COLOR is set."""
    term = os.environ.get("TERM", "")
    many = os.environ.get("COLORTERM", "") or "256" in term or "kitty" in term
    return "NO_COLOR" in os.environ or (bool(term) and not many)

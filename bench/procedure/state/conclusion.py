"""The verdict on a whole run, in facts and in words: screen, report, label, history and exit code all use it.

It imports little, because a list of sessions needs nothing more than this.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from bench.measure.verdict import VerdictWord
from bench.words.sentences import all_are, counted

INVERTED = "One channel is inverted, so that in mono the channels cancel. Check the wiring from the head to the output."
INVERTED_ON_TAPE = (
    "One channel is inverted, on this tape or in this machine: a tape that is known to be right shows which. For the "
    "transfer, exchange the leads of one channel."
)


FEW = 4
"""Up to this many steps that are still to come are named one by one. A choice."""


@dataclass(frozen=True, slots=True)
class Conclusion:
    """How a run came out. Steps are given by title."""

    done: bool = False
    last_step: str = ""
    """The last step that was completed."""
    answer: str = ""
    """The answer to the question of the job; "" where it has none."""
    in_count: int = 0
    """Number of judged readings that are in; the next three count the other verdicts."""
    out_count: int = 0
    too_close_count: int = 0
    no_reading_count: int = 0
    inverted: bool = False
    """Whether a judged reading shows one channel inverted."""
    inverted_on_tape: bool = False
    """Whether a tape from elsewhere shows one channel inverted."""
    steps: int = 0
    """Number of steps with a judged reading."""
    out: tuple[str, ...] = ()
    """Each step with its worst reading; the same for the next."""
    too_close: tuple[str, ...] = ()
    no_reading: tuple[str, ...] = ()
    skipped: tuple[str, ...] = ()
    not_measured: tuple[str, ...] = ()
    to_check_again: tuple[str, ...] = ()
    """Names of aspects."""
    found_out: tuple[str, ...] = ()
    """Steps with a reading as found that is out, with the worst one, where no reading is judged."""

    @property
    def counts(self) -> dict[VerdictWord, int]:
        """Number of judged readings by verdict, without verdicts that do not occur."""
        every: dict[VerdictWord, int] = {
            "in": self.in_count,
            "out": self.out_count,
            "too close to call": self.too_close_count,
            "no reading": self.no_reading_count,
        }
        return {word: count for word, count in every.items() if count}

    @property
    def judged(self) -> int:
        """Number of judged readings."""
        return sum(self.counts.values())

    @property
    def _wrong(self) -> bool:
        lists = (self.out, self.too_close, self.no_reading, self.skipped, self.not_measured, self.to_check_again)
        return any(lists)

    @property
    def exit_code(self) -> int:
        """0 where the run came to its end and nothing that is judged is wrong, missing or to be checked again."""
        return 0 if self.done and not self._wrong else 1

    @property
    def word(self) -> VerdictWord:
        """The word that picks shape and colour."""
        if self.out:
            return "out"
        if not self.done:
            return "no reading"
        if self._wrong:
            return "too close to call"
        return "in" if self.judged else "no reading"

    @property
    def headline(self) -> str:
        """The first sentence about the run."""
        if self.out:
            out = "Out: one channel is inverted" if self.inverted else "Out"
            return out if self.done else "Not finished, and out"
        if not self.done:
            return "Not finished"
        if self._wrong:
            return "Not all in"
        return "All in" if self.judged else "Nothing judged"

    @property
    def sentences(self) -> tuple[str, ...]:
        """The answer to the job's question, then what is not right, each sentence with its steps."""
        said = [self.answer] if self.answer else []
        if not self.done:
            after = f" after “{self.last_step}”" if self.last_step else " before its first step was over"
            said.append(f"Broken off{after}; it can be resumed.")
        if self.inverted:
            said.append(INVERTED)
        if self.inverted_on_tape:
            said.append(INVERTED_ON_TAPE)
        if self.out:
            are = "is" if len(self.out) == 1 else "are"
            said.append(f"{counted(len(self.out), 'step')} {are} out: {_apart(self.out)}.")
        yet, missing = ("", self.not_measured) if self.done else (" yet", _to_come(self.not_measured))
        named = {
            "Too close to call": self.too_close,
            "No reading": self.no_reading,
            "Skipped": self.skipped,
            f"Not measured{yet}": missing,
            "To be checked again, because something was adjusted since": self.to_check_again,
        }
        said += [f"{what}: {_apart(steps)}." for what, steps in named.items() if steps]
        if self.judged and not self._wrong:
            at = f" at {counted(self.steps, 'step')}"
            said.append(f"{all_are(self.judged, 'judged reading', at)} in{'' if self.done else ' so far'}.")
        if self.done and not self.judged and not self._wrong:
            said.append("This procedure judges nothing at its end.")
        if self.found_out:
            said.append(f"As found, and therefore not judged, out: {_apart(self.found_out)}.")
        return tuple(said)

    @property
    def said(self) -> str:
        """All of it in one line."""
        return " ".join((f"{self.headline}.", *self.sentences))


def _apart(steps: tuple[str, ...]) -> str:
    """Steps one after another; their titles have commas of their own."""
    return "; ".join(steps)


def _to_come(steps: tuple[str, ...]) -> tuple[str, ...]:
    """What an interrupted run still has to measure: its steps or, where there are many, the first and their number."""
    return steps if len(steps) <= FEW else (f"{steps[0]}, and {len(steps) - 1} steps after it",)


def conclusion_from(table: Mapping[str, Any]) -> Conclusion:
    """The conclusion from its stored table; missing or malformed fields get their defaults."""
    blank = Conclusion()
    kept: dict[str, Any] = {}
    for one in fields(Conclusion):
        value = table.get(one.name)
        value = tuple(map(str, value)) if isinstance(value, list | tuple) else value
        if type(value) is type(getattr(blank, one.name)):
            kept[one.name] = value
    return Conclusion(**kept)

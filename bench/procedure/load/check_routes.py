"""Checks of the routes through one file: decisions lead forwards, retries back, and every step is reached."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bench.procedure.load.file_problems import Mistake, StepMistake, did_you_mean, quoted
from bench.procedure.model.steps import (
    Adjust,
    Decision,
    Entry,
    Follow,
    Measure,
    Measuring,
    Question,
    RecordReplay,
    Step,
)

SAYS = {"speed_error": "Hz", "tape_level": "nWb/m"}
"""Unit of the entry that states what was recorded, by quantity."""

Way = tuple[tuple[str | int, ...], str]
"""Key that names another step, and the id of that step."""


def check_routes(steps: Sequence[Step | None], ids: Sequence[object]) -> list[Mistake]:
    """Every mistake in the names of other steps, and in the routes that they make.

    Args:
        steps: of one file; None for one that is not understood, in which case routes are not checked.
        ids: their ids as written in the file; with one that is not text, no id is reported as missing.
    """
    index: dict[str, int] = {}
    for n, name in enumerate(ids):
        if isinstance(name, str):
            index.setdefault(name, n)
    out: list[Mistake] = []
    named = all(isinstance(name, str) for name in ids)
    for n, step in enumerate(steps):
        if step is None:
            continue
        for key, message, remedy, about in _step(n, step, steps, index if named else None):
            out.append(Mistake(("step", n, *key), message, remedy, about))
    if named and None not in steps and not any(w.at[2:] and w.at[2] in {"when_in", "when_not", "choices"} for w in out):
        out += _reached(steps, index)
    return out


def _step(n: int, step: Step, steps: Sequence[Step | None], index: dict[str, int] | None) -> Iterator[StepMistake]:
    if isinstance(step, Decision):
        yield from _decision(step)
        if index is not None:
            yield from _forwards(n, _ways(step), index)
            if step.of is not None:
                yield from _earlier(n, ("of",), step.of, index)
                yield from _gives_a_verdict(n, step.of, steps, index)
    if isinstance(step, Measuring) and step.again_until is not None:
        if step.stage != "left":
            said = "what was found is not judged, so that it never goes back"
            yield ("again_until",), said, "take it out, or the stage", ("again_until", "stage")
        elif index is not None:
            yield from _earlier(n, ("again_until", "back_to"), step.again_until.back_to, index)
    if isinstance(step, Entry) and step.cure_from is not None and index is not None:
        yield from _earlier(n, ("cure_from",), step.cure_from, index)
    if isinstance(step, Question) and step.predicts is not None and index is not None:
        yield from _earlier(n, ("predicts", "than"), step.predicts.than, index)
        yield from _later(n, ("predicts", "step"), step.predicts.step, index)
    if isinstance(step, Adjust | Measure) and index is not None:
        yield from _answers(n, step, steps, index)
    if isinstance(step, Measure) and index is not None:
        yield from _returns(n, step, steps, index)
        for m, name in enumerate(step.of):
            yield from _earlier(n, ("of", m), name, index)
            other = steps[index[name]] if index.get(name, n) < n else None
            if other is not None and not isinstance(other, RecordReplay | Measure | Follow):
                said = f"{quoted(name)} does not measure what was recorded"
                yield ("of", m), said, "name record-replay steps", ("of",)


def _answers(
    n: int, step: Adjust | Measure, steps: Sequence[Step | None], index: dict[str, int]
) -> Iterator[StepMistake]:
    """What was recorded must be stated at an earlier entry of the right kind."""
    for key in ("named_by", "known_by"):
        name = getattr(step, key, None)
        if name is None:
            continue
        yield from _earlier(n, (key,), name, index)
        other = steps[index[name]] if index.get(name, n) < n else None
        unit = "%" if key == "known_by" else SAYS.get(step.quantity, "")
        if other is not None and not (isinstance(other, Entry) and other.unit == unit):
            wanted = f"a number in {unit}" if unit else "a choice"
            yield (key,), f"{quoted(name)} does not ask for {wanted}", "name an entry step that does", (key, "quantity")


def _returns(n: int, step: Measure, steps: Sequence[Step | None], index: dict[str, int]) -> Iterator[StepMistake]:
    """`returns_to` must name an earlier step that reads the same quantity."""
    if step.returns_to is None:
        return
    yield from _earlier(n, ("returns_to",), step.returns_to, index)
    other = steps[index[step.returns_to]] if index.get(step.returns_to, n) < n else None
    if other is not None and not (isinstance(other, Measure) and other.quantity == step.quantity):
        said = f"{quoted(step.returns_to)} does not measure {step.quantity}"
        yield ("returns_to",), said, "name an earlier measure step of the same quantity", ("returns_to", "quantity")


def _decision(step: Decision) -> Iterator[StepMistake]:
    """A decision needs either verdicts or a question to decide by, and the keys that belong to it."""
    if step.of is not None and step.asks:
        yield ("asks",), "cannot be combined with of", "a verdict decides, or an answer: take one out", ("of", "asks")
        return
    if step.of is None and not step.asks:
        remedy = "name the step whose verdicts decide with of, or ask with asks and choices"
        yield ("of",), "missing: nothing decides", remedy, ("of", "asks")
        return
    if step.of is None:
        for key in ("when_in", "when_not"):
            if getattr(step, key) is not None:
                yield (key,), "is for verdicts", "lead on from the choices, with go_to", (key, "of", "asks")
        if len(step.choices) < 2:
            yield ("choices",), "fewer than two to choose from", "list at least two", ("choices", "asks")
        elif len({c.say.casefold() for c in step.choices}) < len(step.choices):
            yield ("choices",), "one of them is there twice", "list each once", ("choices",)
        elif len({c.go_to for c in step.choices}) == 1:
            yield ("choices",), "all of them lead to the same step", _NOTHING, ("choices",)
        return
    if step.choices:
        yield ("choices",), "are for asks", "take them out: the verdicts decide", ("choices", "of", "asks")
    if step.when_in == step.when_not:
        yield ("of",), "in or not, it leads to the same step", _NOTHING, ("of", "when_in", "when_not")


_NOTHING = "let them lead to different steps, or take the decision out"


def _ways(step: Decision) -> list[Way]:
    """The keys of a decision that name a step."""
    out: list[Way] = [((key,), name) for key in ("when_in", "when_not") if (name := getattr(step, key)) is not None]
    out += [(("choices", m, "go_to"), c.go_to) for m, c in enumerate(step.choices) if c.go_to is not None]
    return out


def _forwards(n: int, ways: list[Way], index: dict[str, int]) -> Iterator[StepMistake]:
    for key, name in ways:
        if name not in index:
            yield key, f"there is no step {quoted(name)} in this file", _meant(name, index, n + 1), ("id",)
        elif index[name] <= n:
            where = "to itself" if index[name] == n else f"back to step {index[name] + 1}"
            remedy = "name a later step; to measure again until it is in, use again_until"
            yield key, f"leads {where}, round and round", remedy, ("id",)


def _earlier(n: int, key: tuple[str | int, ...], name: str, index: dict[str, int]) -> Iterator[StepMistake]:
    if name not in index:
        yield key, f"there is no step {quoted(name)} in this file", _meant(name, index, 0, n), ("id",)
    elif index[name] >= n:
        where = "this step itself" if index[name] == n else "a later step"
        yield key, f"{quoted(name)} is {where}", "name one that comes before", ("id",)


def _later(n: int, key: tuple[str | int, ...], name: str, index: dict[str, int]) -> Iterator[StepMistake]:
    if name not in index:
        yield key, f"there is no step {quoted(name)} in this file", _meant(name, index, n + 1), ("id",)
    elif index[name] <= n:
        yield key, f"{quoted(name)} is not a later step", "name one that comes after", ("id",)


def _meant(name: str, index: dict[str, int], first: int, last: int | None = None) -> str:
    return did_you_mean(name, [i for i, n in index.items() if n >= first and (last is None or n < last)][:12])


def _gives_a_verdict(n: int, name: str, steps: Sequence[Step | None], index: dict[str, int]) -> Iterator[StepMistake]:
    other = steps[index[name]] if index.get(name, n) < n else None
    if other is not None and not isinstance(other, Measuring | Follow):
        said = f"{quoted(name)} measures nothing, so that it has no verdict"
        yield ("of",), said, "name a step that measures; to decide by an answer, use asks and choices", ("of",)


def _reached(steps: Sequence[Step | None], index: dict[str, int]) -> Iterator[Mistake]:
    """Steps that no route reaches; reported at the first of each run of them."""
    reached = {0}
    for n, step in enumerate(steps):
        if n not in reached:
            continue
        ways: list[str | None] = [None]
        if isinstance(step, Decision):
            ways = [step.when_in, step.when_not] if step.of is not None else [c.go_to for c in step.choices] or [None]
        reached |= {n + 1 if way is None else index[way] for way in ways if way is None or way in index}
    for n in range(1, len(steps)):
        if n not in reached and n - 1 in reached:
            remedy = "lead a decision to it, or take it out"
            yield Mistake(("step", n, "id"), "no way leads to this step", remedy, ("id",))

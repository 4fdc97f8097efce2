"""Checks of one procedure file beyond the types of its keys."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bench.procedure.load.check_measuring import check_measuring
from bench.procedure.load.check_routes import check_routes
from bench.procedure.load.check_tapes import check_lots
from bench.procedure.load.file_problems import Mistake, StepMistake, did_you_mean, quoted
from bench.procedure.model.step_base import SECTION, TARGET, TONE
from bench.procedure.model.steps import Entry, InterfaceStep, Measuring, Question, Step
from bench.words.sentences import counted


def check_steps(steps: Sequence[Step | None], ids: Sequence[object]) -> list[Mistake]:
    """Every mistake in the steps of one file.

    Args:
        steps: the steps, as far as they are understood.
        ids: their ids as written in the file.
    """
    out: list[Mistake] = []
    taken: dict[str, int] = {}
    for n, step in enumerate(steps):
        if step is None:
            continue
        if step.id in taken:
            said = f"{quoted(step.id)} is already the id of step {taken[step.id] + 1}"
            out.append(Mistake(("step", n, "id"), said, "give each step an id of its own", ("id",)))
        taken.setdefault(step.id, n)
        for key, message, remedy, about in (*_step(step), *_directions(step)):
            out.append(Mistake(("step", n, *key), message, remedy, about))
    return out + check_lots(steps) + check_routes(steps, ids)


def _step(step: Step) -> Iterator[StepMistake]:
    if not (getattr(step, "target", None) or getattr(step, "targets", {}) or isinstance(step, InterfaceStep)):
        for key in ("do", "good", "why", "if_not"):
            if TARGET in getattr(step, key, ""):
                said = f"{TARGET} stands for the target of a step, and this one has none"
                yield (key,), said, "write the figure", (key,)
    if getattr(step, "plays", None) is None:
        for key in ("title", "do", "good", "why", "if_not"):
            if TONE in getattr(step, key, "") or SECTION in getattr(step, key, ""):
                said = f"{TONE} and {SECTION} stand for what a step plays, and this one plays nothing"
                yield (key,), said, "write the frequency", (key,)
    match step:
        case InterfaceStep():
            yield from _interface(step)
        case Measuring():
            yield from check_measuring(step)
        case Entry():
            yield from _entry(step)
        case Question():
            yield from _question(step)
        case _:
            pass


def _interface(step: InterfaceStep) -> Iterator[StepMistake]:
    needed = {"noise": 0, "response": 2, "linearity": 2}.get(step.finds, 1)
    said = f"{step.finds} is found from {counted(needed, 'tone') if needed else 'no tones'}"
    if needed == 0 and step.sends:
        yield ("sends",), said, "take them out: nothing is sent", ("sends", "finds")
    elif len(step.sends) < needed:
        yield ("sends",), f"{said}{' or more' if needed > 1 else ''}", "add `{ hz = …, dbfs = … }`", ("sends", "finds")


def _entry(step: Entry) -> Iterator[StepMistake]:
    if step.asks in ("choice", "noise-reduction"):
        if len(step.choices) < 2:
            yield ("choices",), "fewer than two to choose from", "list at least two", ("choices", "asks")
        elif len({c.casefold() for c in step.choices}) < len(step.choices):
            yield ("choices",), "one of them is there twice", "list each once", ("choices", "asks")
    elif step.choices:
        yield ("choices",), f'are for `asks = "choice"`, not {quoted(step.asks)}', "take them out", ("choices", "asks")
    strange = [answer for answer in step.not_good if answer not in step.choices]
    if strange:
        said = f"{quoted(strange[0])} is none of the choices"
        yield ("not_good",), said, did_you_mean(strange[0], step.choices), ("not_good", "choices")
    if (step.cure or step.cure_from) and not step.not_good:
        key = "cure_from" if step.cure_from else "cure"
        yield (key,), "is for an answer that is not good", "name such answers in not_good", ("cure", "cure_from")
    yield from _read_point(step)
    if step.asks == "number":
        if not step.unit:
            yield ("unit",), "missing: a number without its unit says nothing", 'add `unit = "…"`', ("unit", "asks")
    else:
        for key, value in (("unit", step.unit), ("target", step.target)):
            if value:
                yield (key,), f'is for `asks = "number"`, not {quoted(step.asks)}', "take it out", (key, "asks")


def _read_point(step: Entry) -> Iterator[StepMistake]:
    if step.reads is None:
        for key in ("plays", "sends"):
            if getattr(step, key):
                yield (key,), "is for what is read at the machine", "add `reads`, or take it out", (key, "reads")
        return
    unit = "dB" if step.reads.startswith("meter") else "mV"
    if step.asks != "number" or step.unit != unit:
        yield (
            ("unit",),
            f"the {step.reads} reads in {unit}",
            f'write `asks = "number"` and `unit = "{unit}"`',
            ("reads",),
        )
    if step.reads.startswith(("erase", "bias")):
        return
    if (step.plays is None) == (not step.sends):
        remedy = "give plays (a section of the reference tape) or sends (one tone), one of them"
        yield ("plays",), "nothing sounds, or two things at once", remedy, ("plays", "sends")


def _question(step: Question) -> Iterator[StepMistake]:
    if len({c.casefold() for c in step.choices}) < len(step.choices):
        yield ("choices",), "one of them is there twice", "list each once", ("choices",)
    elif step.predicts is not None:
        if step.right:
            remedy = "take it out: the reading answers"
            yield ("right",), "cannot be combined with predicts", remedy, ("right", "predicts")
        if len(step.choices) != 3:
            said = f"a prediction has 3 choices, not {len(step.choices)}"
            yield ("choices",), said, "list higher, about the same, and lower", ("choices", "predicts")
    elif not (step.right and step.because):
        missing = "because" if step.right else "right"
        yield (missing,), "missing", "give right and because, or predicts", (missing, "predicts")
    elif step.right not in step.choices:
        said = f"{quoted(step.right)} is none of the choices"
        yield ("right",), said, did_you_mean(step.right, step.choices), ("right", "choices")
    if step.replies and len(step.replies) != len(step.choices):
        said = f"{counted(len(step.replies), 'reply', 'replies')} to {counted(len(step.choices), 'choice')}"
        yield ("replies",), said, 'give one to each choice, or "" for none', ("replies", "choices")


def _directions(step: Step) -> Iterator[StepMistake]:
    if step.each_direction and step.direction is not None:
        said = "cannot be combined with each_direction"
        yield ("direction",), said, "take one of them out: one direction, or each", ("direction", "each_direction")

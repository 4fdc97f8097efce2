"""Checks of the order of all steps of a procedure, with those it follows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bench.procedure.load.file_problems import Mistake
from bench.procedure.model.job import JobStep
from bench.procedure.model.steps import Adjust, ByHand, Measure, RecordReplay, Reference, plays_reference_tape


def check_order(steps: Sequence[JobStep], *, part: bool) -> list[Mistake]:
    """Every mistake in the order of the steps.

    Args:
        steps: all steps.
        part: whether the procedure is meant to be followed by others, so that the steps before it are not known.
    """
    out = [*_stages(steps)]
    if not part:
        out += [*_reference_last(steps), *_something_judged(steps)]
    return out


def _reference_last(steps: Sequence[JobStep]) -> Iterator[Mistake]:
    """The reference tape is only played after cleaning and demagnetising."""
    done: set[str] = set()
    for n, step in enumerate(steps):
        if isinstance(step, ByHand):
            done |= set(step.does)
        elif plays_reference_tape(step):
            missing = [act for act in ("clean", "demagnetise") if act not in done]
            if missing:
                at = ("step", n, "kind" if isinstance(step, Reference) else "plays")
                acts = ", ".join(f'"{m}"' for m in missing)
                said = f"the reference tape is played before the machine was {' and '.join(_DONE[m] for m in missing)}"
                yield Mistake(at, said, f"put by-hand steps with does = [{acts}] before it")
            return


_DONE = {"clean": "cleaned", "demagnetise": "demagnetised"}


def _stages(steps: Sequence[JobStep]) -> Iterator[Mistake]:
    """As-found stages come first: dirty before cleaning, clean after it, both before any adjustment."""
    cleaned = adjusted = False
    for n, step in enumerate(steps):
        at = ("step", n, "stage")
        if isinstance(step, ByHand):
            cleaned = cleaned or "clean" in step.does
            continue
        if isinstance(step, Adjust):
            if step.stage != "left":
                yield Mistake(at, f'an adjustment is not "{step.stage}"', "take the stage out of adjust steps")
            adjusted = True
            continue
        if not isinstance(step, Reference | RecordReplay | Measure) or step.stage == "left":
            continue
        if adjusted:
            yield Mistake(
                at, f'"{step.stage}" comes after an adjustment', "measure as found before any trimmer is turned"
            )
        elif step.stage == "found-dirty" and cleaned:
            yield Mistake(at, '"found-dirty" comes after cleaning', 'move it before cleaning, or say "found-clean"')


def _something_judged(steps: Sequence[JobStep]) -> Iterator[Mistake]:
    """As-found readings are never judged, so a procedure needs other readings too."""
    measured = [n for n, s in enumerate(steps) if isinstance(s, Reference | RecordReplay | Measure | Adjust)]
    if measured and all(steps[n].stage != "left" for n in measured):
        last = measured[-1]
        said = "every reading of this procedure is as found, so that nothing is ever judged"
        yield Mistake(("step", last, "stage"), said, "measure again as left, by taking the stage out")

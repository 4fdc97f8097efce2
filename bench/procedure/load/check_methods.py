"""Checks of the method of a `measure` step that need only the file."""

from __future__ import annotations

from collections.abc import Iterator

from bench.measure.catalogue import HUM_LINE, QUANTITIES
from bench.procedure.load.file_problems import StepMistake, did_you_mean, quoted
from bench.procedure.model.steps import Measure


def check_method(step: Measure) -> Iterator[StepMistake]:
    """Check that the meter has the method, and that one is named where it must be."""
    quantity, about = QUANTITIES[step.quantity], ("method", "quantity")
    known = quantity.methods
    if not step.method:
        if len(known) > 1 and not quantity.usual_method:
            said = f"missing: {len(known)} methods would be judged by one target"
            yield ("method",), said, f'name the method, `method = "{known[0]}"` for one', about
        return
    if not known:
        yield ("method",), f"there is only one for {step.quantity}", "take it out", about
        return
    named = _named(step.method, known)
    if not named:
        said = f"{quoted(step.method)} is not a method of {step.quantity}"
        yield ("method",), said, did_you_mean(step.method, known), about
    elif len(named) > 1:
        said = f"{quoted(step.method)} is the name of {len(named)} methods"
        yield ("method",), said, f"name the method whole: {' or '.join(quoted(n) for n in named)}", about


def _named(said: str, known: tuple[str, ...]) -> list[str]:
    """Methods that a text names: by the whole name, else by its beginning, else by a part of it."""
    wanted = said.casefold()
    for fits in (str.__eq__, str.startswith, str.__contains__):
        found = [name for name in known if fits(name.casefold(), wanted)]
        if found:
            return found
    return [name for name in known if name == HUM_LINE and wanted.startswith(name)]

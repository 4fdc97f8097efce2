"""An exercise: a practice machine with hidden faults, the same for everyone with the same seed."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from bench.problem import Problem
from bench.procedure.model.job import Job
from bench.procedure.model.sheets import Fault
from bench.procedure.model.steps import Entry, RecordReplay, Reference, StepBase

CLOSING = "what-was-wrong"
"""The id of the question that ends an exercise."""

_LEVELS = frozenset({"level", "balance", "record_replay_level"})
_TREBLE = frozenset({"response"})
_DELAYS = frozenset({"azimuth_delay", "azimuth_angle"})
_NOISE = frozenset({"noise", "signal_to_noise"})
_FLUTTER = frozenset({"wow_and_flutter", "flutter_component"})

SHOWN_BY: tuple[tuple[str, frozenset[str]], ...] = (
    ("replay_dirt_", _TREBLE),
    ("replay_gap_", _TREBLE),
    ("replay_t1_", _TREBLE),
    ("replay_equalisation_", _TREBLE),
    ("replay_azimuth_", _DELAYS | _TREBLE),
    ("replay_level_", _LEVELS),
    ("replay_height_", _LEVELS),
    ("record_dirt_", _TREBLE),
    ("record_equalisation_", _TREBLE),
    ("record_azimuth_", _DELAYS | _TREBLE),
    ("record_level_", frozenset({"record_replay_level"})),
    ("record_control_", frozenset({"source_level"})),
    ("output_control_", frozenset({"source_level"})),
    ("bias_", _TREBLE | {"overbias"}),
    ("tape_selector", _TREBLE),
    ("other_tape", _TREBLE),
    ("contour_db", _TREBLE),
    ("dead_", _LEVELS | _TREBLE),
    ("inverted_", _DELAYS | {"mono_sum"}),
    ("swapped_", frozenset({"separation"})),
    ("crosstalk_", frozenset({"separation"})),
    ("erase_", frozenset({"erasure"})),
    ("hum_", _NOISE | {"hum"}),
    ("magnetised", _NOISE),
    ("amplifier_noise_", _NOISE),
    ("flutter_", _FLUTTER),
    ("speed_percent", frozenset({"speed_error"})),
    ("speed_wander_", frozenset({"speed_drift"})),
    ("encoder_", frozenset({"encoding_error"})),
    ("decoder_", frozenset({"decoding_error"})),
)
"""Machine figures by their first letters, and the quantities of which one must be measured to show a change."""

NEEDS_RECORDING = ("record_", "bias_", "tape_selector", "other_tape", "erase_", "encoder_", "magnetised")
"""Machine figures whose changes only a recording shows."""


def fault_shows(job: Job, fault: Fault) -> bool:
    """Whether the procedure's measurements can show a fault; common practice, no source."""
    measured = {q for step in job.steps for q in quantities(step)}
    records = any(
        isinstance(s, RecordReplay) or getattr(s, "sends", ()) or getattr(s, "records", "") for s in job.steps
    )
    for figure in fault.practice:
        if figure.startswith(NEEDS_RECORDING) and not records:
            continue
        if any(figure.startswith(first) and measured & wanted for first, wanted in SHOWN_BY):
            return True
    return False


def quantities(step: StepBase) -> tuple[str, ...]:
    """The quantities that a step measures."""
    if isinstance(step, Reference | RecordReplay):
        return tuple(step.targets)
    quantity = getattr(step, "quantity", "")
    return (quantity,) if quantity else ()


def draw_faults(
    faults: Mapping[str, Fault], job: Job, count: int, seed: int, goes_together: Callable[[Sequence[str]], bool]
) -> tuple[str, ...]:
    """The faults of an exercise.

    Args:
        faults: all faults, by the names of their sheets.
        job: the trainee's job; only faults that it can show are drawn.
        count: how many.
        seed: random seed; the same seed gives the same faults.
        goes_together: whether one machine can have these faults at once.

    Raises:
        Problem: there are too few that go together.
    """
    names = sorted(n for n, f in faults.items() if fault_shows(job, f))
    # Python guarantees that this generator stays the same, so a class gets the same faults next year.
    random.Random(seed).shuffle(names)
    drawn: list[str] = []
    for name in names:
        if len(drawn) < count and goes_together([*drawn, name]):
            drawn.append(name)
    if len(drawn) < count:
        raise Problem(
            f"{job.name} can show {len(drawn)} faults at once on this machine, not {count}; ask for fewer, "
            "or choose a procedure that measures more"
        )
    return tuple(drawn)


def with_closing_question(job: Job, titles: Sequence[str]) -> Job:
    """The job with a closing question: what was wrong with the machine?

    Args:
        job: the job of the exercise.
        titles: all possible faults, in the order of their numbers; `named_faults` reads the answer.
    """
    listed = " · ".join(f"{n} {title}" for n, title in enumerate(titles, start=1))
    closing = Entry(
        kind="entry",
        id=CLOSING,
        title="What was wrong with this machine?",
        do=f"Type the numbers of the faults it had when you met it, or 0 for none: 3, 7.\n\n{listed}",
        why="Naming a fault is more than making its reading right: the next machine has another one.",
        good="Each number stands for a reading that you saw.",
        if_not="If unsure, say what the readings say; the debrief tells the rest.",
        asks="words",
    )
    return replace(job, steps=(*job.steps, closing))


def named_faults(answer: str, titles: Sequence[str]) -> tuple[str, ...]:
    """The faults that the answer to the closing question names, by number or by name.

    Args:
        answer: as typed: "3, 7".
        titles: as given to `with_closing_question`.
    """
    words = answer.replace(",", " ").replace(";", " ").split()
    numbers = {int(w) for w in words if w.isascii() and w.isdigit()}
    return tuple(t for n, t in enumerate(titles, start=1) if n in numbers or t.casefold() in answer.casefold())

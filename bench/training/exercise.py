"""An exercise: a practice machine with hidden faults, the same for everyone with the same seed."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from bench.problem import Problem
from bench.procedure.model.exercise_steps import NameCauses, RivalTest
from bench.procedure.model.job import Job, JobStep
from bench.procedure.model.sheets import Fault
from bench.procedure.model.steps import ByHand, Entry, RecordReplay
from bench.procedure.state.dependencies import quantities
from bench.training.causes import Cause
from bench.training.distinguishing_tests import distinguishing_tests
from bench.training.rivals import rival_of

CLOSING = "what-was-wrong"
"""The id of the question that ends an exercise."""
COMPLAINT = "what-the-owner-says"
"""The id of the step that gives the complaint of an exercise, where no step of the job asks for it."""

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
    ("inverted_", _DELAYS | {"mono_sum", "polarity"}),
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
"""By the beginning of a machine figure's name: quantities, any one of which shows a change in that figure."""

NEEDS_RECORDING = ("record_", "bias_", "tape_selector", "other_tape", "erase_", "encoder_", "magnetised")
"""Machine figures, by the beginning of their names, whose changes only a recording shows."""


def shown_by(figure: str) -> frozenset[str]:
    """Quantities, any one of which shows a change in a machine figure."""
    return next((wanted for first, wanted in SHOWN_BY if figure.startswith(first)), frozenset())


def fault_shows(job: Job, fault: Fault) -> bool:
    """Whether the measurements of the procedure can show a fault; common practice, no source."""
    measured = {q for step in job.steps for q in quantities(step)}
    records = any(
        isinstance(s, RecordReplay) or getattr(s, "sends", ()) or getattr(s, "records", "") for s in job.steps
    )
    for figure in fault.practice:
        if figure.startswith(NEEDS_RECORDING) and not records:
            continue
        if measured & shown_by(figure):
            return True
    return False


def draw_faults(
    faults: Mapping[str, Fault], job: Job, count: int, seed: int, goes_together: Callable[[Sequence[str]], bool]
) -> tuple[str, ...]:
    """The faults of an exercise.

    Args:
        faults: all faults, by the names of their sheets.
        job: the trainee's job; only faults that it can show are drawn.
        count: number of faults.
        seed: random seed; the same seed gives the same faults.
        goes_together: whether one machine can have these faults at once.

    Raises:
        Problem: too few faults can be combined.
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


def with_exercise_steps(job: Job, complaint: str, causes: Sequence[Cause]) -> Job:
    """Add the owner's complaint to a job, and a closing question after its last step.

    Args:
        job: the job of the exercise.
        complaint: the owner's words; "" for none.
        causes: all causes that can be named, in order.
    """
    closing = NameCauses(
        kind="name-causes",
        id=CLOSING,
        title="What was wrong with this machine?",
        do="Name every cause that was there at the start. Each one that you name rests on a reading you saw.",
        why="Naming a cause is more than bringing its reading in: the next machine has another one.",
        good="You can say which reading shows each cause that you name.",
        if_not="If you are unsure, name what the readings show. The debrief gives the rest.",
        causes=tuple(c.name for c in causes),
        rivals=tuple(
            RivalTest(cause=c.name, rival=r.name, test=r.test) for c in causes if (r := rival_of(c)) is not None
        ),
    )
    steps = _with_complaint(job.steps, complaint) if complaint else job.steps
    return replace(job, steps=(*steps, closing), tests=distinguishing_tests(job))


def _with_complaint(steps: tuple[JobStep, ...], complaint: str) -> tuple[JobStep, ...]:
    """The owner's words at the step that asks for them, or in a step of their own where none does."""
    asking = next((s for s in steps if isinstance(s, Entry) and s.asks == "complaint"), None)
    if asking is None:
        return (ByHand(kind="by-hand", id=COMPLAINT, title="What the owner says", do=complaint), *steps)
    said = asking.model_copy(update={"do": f"The owner says: “{complaint}” Write that down, in the owner's own words."})
    return tuple(said if step is asking else step for step in steps)

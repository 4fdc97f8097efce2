"""Checks of adjusting and measuring steps that need only the file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bench.figures import hertz
from bench.measure.catalogue import QUANTITIES
from bench.procedure.load.check_methods import check_method
from bench.procedure.load.file_problems import StepMistake
from bench.procedure.model.steps import CIRCUIT, Adjust, Measure, Measuring, RecordReplay, SentTone

AGREES = "a machine always agrees with its own recording: judge it from the reference tape, with plays"


def check_measuring(step: Measuring) -> Iterator[StepMistake]:
    """Every mistake within a step."""
    match step:
        case Adjust():
            yield from _adjust(step)
        case Measure():
            yield from _measure(step)
        case RecordReplay():
            yield from _record_replay(step)
        case _:
            pass


def _record_replay(step: RecordReplay) -> Iterator[StepMistake]:
    if step.reference_hz not in {tone.hz for tone in step.sends}:
        yield (
            ("reference_hz",),
            f"{hertz(step.reference_hz)} is not among the tones sent",
            f"name one of {_frequencies(step.sends)}",
            ("reference_hz", "sends"),
        )
    if "compression" not in step.targets:
        yield from _same_tones(step.sends)
    elif len({tone.db for tone in step.sends if tone.hz == step.reference_hz}) < 2:
        said = f"{hertz(step.reference_hz)} is sent at one level, and compression is between two"
        yield ("targets", "compression"), said, "send it at −20 dB and at 0 dB", ("targets", "sends")


def _adjust(step: Adjust) -> Iterator[StepMistake]:
    if step.programme:
        yield from _programme(step)
    elif step.quantity == "tape_level":
        yield from _tape_level(step)
    elif (step.plays is None) == (not step.sends):
        said = "plays and sends exclude each other" if step.sends else "missing: nothing sounds at this step"
        remedy = "give plays (a section of the reference tape) or sends (tones to record)"
        yield ("plays",), said, f"{remedy}, one of them", ("plays", "sends")
    elif step.sends:
        if step.quantity == "speed_error":
            yield ("quantity",), "speed cannot be judged from tones that are sent", AGREES, ("quantity", "sends")
        elif step.quantity == "level":
            remedy = 'write `quantity = "record_replay_level"`: how much comes back of what was sent'
            yield ("quantity",), "level is for what the reference tape plays", remedy, ("quantity", "sends")
    elif step.quantity in {"record_replay_level", "source_level"}:
        yield (
            ("quantity",),
            f"{step.quantity} is not heard from the reference tape",
            'give sends instead of plays, or write `quantity = "level"`',
            ("quantity", "plays"),
        )
    elif step.quantity == "overbias":
        remedy = "give sends instead of plays: bias is judged by what is recorded"
        yield ("quantity",), "overbias is not heard from the reference tape", remedy, ("quantity", "plays")
    yield from _way_of_working(step)
    yield from _frequency(step)
    relative = step.quantity == "response" and bool(step.sends)
    zero_hz = step.reference_frequency
    if relative and zero_hz is None:
        yield (
            ("reference_frequency",),
            "missing: a response is relative to one of the tones",
            f"name one of {_frequencies(step.sends)}",
            ("reference_frequency", "quantity", "sends"),
        )
    elif relative and zero_hz is not None and zero_hz not in {tone.hz for tone in step.sends}:
        yield (
            ("reference_frequency",),
            f"{hertz(zero_hz)} is not among the tones sent",
            f"name one of {_frequencies(step.sends)}",
            ("reference_frequency", "quantity", "sends"),
        )
    elif not relative and zero_hz is not None:
        yield (
            ("reference_frequency",),
            "is for the response of tones that are sent",
            "take it out",
            ("reference_frequency", "quantity", "sends"),
        )
    yield from _trimmers(step)


def _programme(step: Adjust | Measure) -> Iterator[StepMistake]:
    live = isinstance(step, Adjust)
    known = [q for q, facts in QUANTITIES.items() if facts.of_programme and not (live and q != "azimuth_delay")]
    if step.quantity not in known:
        said = f"programme does not tell {step.quantity}"
        yield ("programme",), said, f"take it out: it is for {', '.join(known)}", ("programme", "quantity")
    for key in ("plays", "sends"):
        if getattr(step, key):
            yield (key,), "cannot be combined with programme", "take one of them out", (key, "programme")


def _tape_level(step: Adjust | Measure) -> Iterator[StepMistake]:
    """The tone of a tape from elsewhere: its frequency, and the entry with the flux on its label."""
    for key in ("plays", "sends"):
        if getattr(step, key):
            yield (key,), "is for other quantities: the tone is on the tape", "take it out", (key, "quantity")
    if step.frequency is None:
        yield ("frequency",), "missing: which tone of the tape is it?", "add `frequency = 1000.0`", ("quantity",)
    if step.named_by is None:
        remedy = "name the entry step that asks for the flux on its label, nWb/m"
        yield ("named_by",), "missing: what does its label say?", remedy, ("named_by", "quantity")


def _way_of_working(step: Adjust) -> Iterator[StepMistake]:
    """Check the keys of live, rounds or a ladder."""
    given = step.model_fields_set
    if step.plays is not None and step.via in {"rounds", "ladder"}:
        said = f"{step.via} are for recordings: the reference tape is read while the trimmer is turned"
        yield ("via",), said, 'take it out, or write `via = "live"`', ("via", "plays")
        return
    for key in ("positions", "apart_degrees"):
        if key in given and step.via != "ladder":
            yield (key,), 'is for `via = "ladder"`', "take it out, or say so", (key, "via")
    if "at_most" in given and (step.via in {"live", "ladder"} or step.plays is not None):
        yield ("at_most",), 'is for `via = "rounds"`', "take it out", ("at_most", "via", "plays")


def _trimmers(step: Adjust) -> Iterator[StepMistake]:
    if "both" in step.trimmers and len(step.trimmers) > 1:
        yield (
            ("trimmers", "both"),
            "cannot be combined with a trimmer of one channel",
            "name one trimmer for both channels, or one for each",
            ("trimmers",),
        )
    elif step.quantity in {"azimuth_delay", "speed_error"} and "both" not in step.trimmers:
        yield (
            ("trimmers",),
            f"{step.quantity} belongs to both channels",
            'write `trimmers = { both = "…" }`',
            ("trimmers", "quantity"),
        )
    elif len(set(step.trimmers.values())) < len(step.trimmers):
        yield (
            ("trimmers",),
            "one trimmer is named for two channels",
            'name one for each, or write `trimmers = { both = "…" }`',
            ("trimmers",),
        )
    if step.trimmers_reverse and not step.each_direction:
        said = "are for a step that is done in each direction"
        yield ("trimmers_reverse",), said, "add `each_direction = true`, or take them out", ("each_direction",)
    elif step.trimmers_reverse and set(step.trimmers_reverse) != set(step.trimmers):
        said = "serve other channels than trimmers does"
        yield ("trimmers_reverse",), said, f"name one for {' and '.join(step.trimmers)}", ("trimmers",)


def _measure(step: Measure) -> Iterator[StepMistake]:
    yield from check_method(step)
    if step.quantity == "mistracking":
        for key in ("plays", "sends", "records", "erases", "frequency"):
            if getattr(step, key):
                said = "is for sound: mistracking is computed from readings that were taken"
                yield (key,), said, "take it out", (key, "quantity")
        return
    if step.programme:
        yield from _programme(step)
    if step.quantity == "tape_level":
        yield from _tape_level(step)
    if step.quantity == "treble_fall" and not step.programme:
        yield ("programme",), "missing: treble_fall is of programme", "add `programme = true`", ("quantity",)
    if step.named_by is not None and not (step.programme or step.quantity == "tape_level"):
        yield ("named_by",), "is for what is on a tape from elsewhere", "take it out", ("named_by", "quantity")
    if step.known_by is not None and step.named_by is None:
        yield ("known_by",), "goes with named_by", "name the entry with the pitch, or take it out", ("named_by",)
    if step.returns_to is not None and step.target is None:
        yield ("target",), "missing: how near must it come back?", 'add `target = "machine.…"`', ("returns_to",)
    if step.of:
        yield ("of",), "is for mistracking", "take it out", ("of", "quantity")
    sources = [key for key in ("plays", "sends", "records") if getattr(step, key)]
    if len(sources) > 1:
        remedy = "take one out; with neither, the input is measured as it is"
        yield (sources[0],), f"{' and '.join(sources)} exclude each other", remedy, tuple(sources)
    elif step.sends and step.quantity in {"speed_error", "speed_drift"}:
        yield ("quantity",), "speed cannot be judged from tones that are sent", AGREES, ("quantity", "sends")
    elif step.records and QUANTITIES[step.quantity].meter != "noise":
        said = f"silence has no {step.quantity}"
        yield ("records",), said, "it is for noise, signal_to_noise and hum", ("records", "quantity")
    elif step.quantity in {"record_replay_level", "source_level"} and not step.sends:
        yield ("sends",), "missing: nothing is sent whose level could come back", "add sends", ("sends", "quantity")
    yield from _erasure(step)
    yield from _separation(step)
    yield from _circuit(step)
    if step.quantity not in CIRCUIT:  # each of its tones is judged
        yield from _frequency(step)


def _erasure(step: Measure) -> Iterator[StepMistake]:
    if step.quantity == "erasure" and not step.erases:
        yield ("erases",), "missing: nothing is erased", "add `erases = true`", ("erases", "quantity")
    elif step.erases and step.quantity != "erasure":
        yield ("erases",), f"is for erasure, not {step.quantity}", "take it out", ("erases", "quantity")
    elif step.erases and not step.sends:
        yield ("sends",), "missing: there is nothing to erase", "add the tone that is recorded first", ("sends",)


def _separation(step: Measure) -> Iterator[StepMistake]:
    if step.driven is not None and step.quantity != "separation":
        yield ("driven",), f"is for separation, not {step.quantity}", "take it out", ("driven", "quantity")
    elif step.quantity == "separation" and step.sends and step.driven is None:
        yield ("driven",), "missing: which channel carries the tone?", 'add `driven = "left"`', ("driven", "quantity")


def _circuit(step: Measure) -> Iterator[StepMistake]:
    wanted = CIRCUIT.get(step.quantity)
    if wanted is not None and step.noise_reduction != wanted:
        said = f'{step.quantity} is not seen with noise reduction "{step.noise_reduction}"'
        yield ("noise_reduction",), said, f'write `noise_reduction = "{wanted}"`', ("noise_reduction", "quantity")


def _frequency(step: Adjust | Measure) -> Iterator[StepMistake]:
    """With several tones the step must name the one that is judged."""
    if step.plays is not None or not step.sends:
        return
    about = ("frequency", "sends")
    if step.frequency is None:
        if len(step.sends) > 1:
            remedy = f"name one of {_frequencies(step.sends)}"
            yield ("frequency",), "missing: several tones sound and one of them is judged", remedy, about
    elif step.frequency not in {tone.hz for tone in step.sends}:
        said = f"{hertz(step.frequency)} is not among the tones sent"
        yield ("frequency",), said, f"name one of {_frequencies(step.sends)}", about
    yield from _same_tones(step.sends)


def _same_tones(sends: Sequence[SentTone]) -> Iterator[StepMistake]:
    first: dict[float, int] = {}
    for n, tone in enumerate(sends):
        if first.setdefault(tone.hz, n) != n:
            said = f"{hertz(tone.hz)} is sent twice"
            yield (
                ("sends", n, "hz"),
                said,
                "send each frequency once; another level needs a step of its own",
                ("sends",),
            )


def _frequencies(sends: Sequence[SentTone]) -> str:
    return ", ".join(f"{tone.hz:g}" for tone in sends)

"""Checks of what a file says, beyond the types of its keys. Each needs nothing but the file."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from bench.procedure.problems import Wrong, shown
from bench.procedure.sheets import Machine, ReferenceTape, SheetBase, Tape
from bench.procedure.steps import Adjust, Entry, InterfaceStep, Measure, RecordReplay, SentTone, Step
from bench.procedure.targets import Target

AGREES = "a machine always agrees with its own recording: judge it from the reference tape, with plays"


def check_steps(steps: Sequence[Step | None]) -> list[Wrong]:
    """Every problem that the steps of one file have in themselves and among themselves."""
    out: list[Wrong] = []
    taken: dict[str, int] = {}
    for n, step in enumerate(steps):
        if step is None:
            continue
        if step.id in taken:
            said = f"{shown(step.id)} is already the id of step {taken[step.id] + 1}"
            out.append(Wrong(("step", n, "id"), said, "give each step an id of its own", ("id",)))
        taken.setdefault(step.id, n)
        for key, message, remedy, about in _step(step):
            out.append(Wrong(("step", n, *key), message, remedy, about))
    return out


Told = tuple[tuple[str | int, ...], str, str, tuple[str, ...]]
"""Where in the step, message, remedy, and the keys it follows from."""


def _step(step: Step) -> Iterator[Told]:
    match step:
        case Adjust():
            yield from _adjust(step)
        case Measure():
            yield from _measure(step)
        case RecordReplay():
            if step.reference_hz not in {tone.hz for tone in step.sends}:
                yield (
                    ("reference_hz",),
                    f"{step.reference_hz:g} Hz is not among the tones sent",
                    f"name one of {_frequencies(step.sends)}",
                    ("reference_hz", "sends"),
                )
            yield from _same_tones(step.sends)
        case Entry():
            yield from _entry(step)
        case InterfaceStep():
            yield from _interface(step)
        case _:
            return


def _adjust(step: Adjust) -> Iterator[Told]:
    if (step.plays is None) == (not step.sends):
        said = "plays and sends exclude each other" if step.sends else "missing: nothing sounds at this step"
        remedy = "give plays (a section of the reference tape) or sends (tones to record)"
        yield ("plays",), said, f"{remedy}, one of them", ("plays", "sends")
    elif step.sends:
        if step.quantity == "speed_error":
            yield ("quantity",), "speed cannot be judged from tones that are sent", AGREES, ("quantity", "sends")
        elif step.quantity == "level":
            remedy = 'say `quantity = "record_replay_level"`: how much comes back of what was sent'
            yield ("quantity",), "level is for what the reference tape plays", remedy, ("quantity", "sends")
    elif step.quantity == "record_replay_level":
        yield (
            ("quantity",),
            "record_replay_level is not heard from the reference tape",
            'give sends instead of plays, or say `quantity = "level"`',
            ("quantity", "plays"),
        )
    yield from _frequency(step)
    relative = step.quantity == "response" and bool(step.sends)
    if relative and step.reference_frequency is None:
        yield (
            ("reference_frequency",),
            "missing: a response is relative to one of the tones",
            f"name one of {_frequencies(step.sends)}",
            ("reference_frequency", "quantity", "sends"),
        )
    elif relative and step.reference_frequency not in {tone.hz for tone in step.sends}:
        yield (
            ("reference_frequency",),
            f"{step.reference_frequency:g} Hz is not among the tones sent",
            f"name one of {_frequencies(step.sends)}",
            ("reference_frequency", "quantity", "sends"),
        )
    elif not relative and step.reference_frequency is not None:
        yield (
            ("reference_frequency",),
            "is for the response of tones that are sent",
            "take it out",
            ("reference_frequency", "quantity", "sends"),
        )
    yield from _trimmers(step)


def _trimmers(step: Adjust) -> Iterator[Told]:
    if "both" in step.trimmers and len(step.trimmers) > 1:
        yield (
            ("trimmers", "both"),
            "stands beside a trimmer of one channel",
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


def _measure(step: Measure) -> Iterator[Told]:
    if step.plays is not None and step.sends:
        remedy = "take one out; with neither, what comes in by itself is measured"
        yield ("plays",), "plays and sends exclude each other", remedy, ("plays", "sends")
    elif step.sends and step.quantity in {"speed_error", "speed_drift"}:
        yield ("quantity",), "speed cannot be judged from tones that are sent", AGREES, ("quantity", "sends")
    yield from _frequency(step)


def _frequency(step: Adjust | Measure) -> Iterator[Told]:
    """Which tone is judged must be plain where several sound."""
    if step.plays is not None or not step.sends:
        return
    about = ("frequency", "sends")
    if step.frequency is None:
        if len(step.sends) > 1:
            remedy = f"name one of {_frequencies(step.sends)}"
            yield ("frequency",), "missing: several tones sound and one of them is judged", remedy, about
    elif step.frequency not in {tone.hz for tone in step.sends}:
        said = f"{step.frequency:g} Hz is not among the tones sent"
        yield ("frequency",), said, f"name one of {_frequencies(step.sends)}", about
    yield from _same_tones(step.sends)


def _same_tones(sends: Sequence[SentTone]) -> Iterator[Told]:
    first: dict[float, int] = {}
    for n, tone in enumerate(sends):
        if first.setdefault(tone.hz, n) != n:
            said = f"{tone.hz:g} Hz is sent twice"
            yield (
                ("sends", n, "hz"),
                said,
                "send each frequency once; another level needs a step of its own",
                ("sends",),
            )


def _interface(step: InterfaceStep) -> Iterator[Told]:
    needed = {"noise": 0, "response": 2, "linearity": 2}.get(step.finds, 1)
    said = f"{step.finds} is found from {needed or 'no'} tone{'' if needed == 1 else 's'}"
    if needed == 0 and step.sends:
        yield ("sends",), said, "take them out: nothing is sent", ("sends", "finds")
    elif len(step.sends) < needed:
        yield ("sends",), f"{said}{' or more' if needed > 1 else ''}", "add `{ hz = …, dbfs = … }`", ("sends", "finds")


def _entry(step: Entry) -> Iterator[Told]:
    if step.asks == "choice":
        if len(step.choices) < 2:
            yield ("choices",), "fewer than two to choose from", "list at least two", ("choices", "asks")
        elif len({c.casefold() for c in step.choices}) < len(step.choices):
            yield ("choices",), "one of them is there twice", "list each once", ("choices", "asks")
    elif step.choices:
        yield ("choices",), f'are for `asks = "choice"`, not {shown(step.asks)}', "take them out", ("choices", "asks")
    if step.asks == "number":
        if not step.unit:
            yield ("unit",), "missing: a number without its unit says nothing", 'add `unit = "…"`', ("unit", "asks")
    else:
        for key, value in (("unit", step.unit), ("target", step.target)):
            if value:
                yield (key,), f'is for `asks = "number"`, not {shown(step.asks)}', "take it out", (key, "asks")


def _frequencies(sends: Sequence[SentTone]) -> str:
    return ", ".join(f"{tone.hz:g}" for tone in sends)


def check_sheet(sheet: SheetBase) -> list[Wrong]:
    """Every problem of a sheet in itself."""
    match sheet:
        case Machine():
            return [*_targets(sheet.targets), *_machine(sheet)]
        case Tape():
            return list(_targets(sheet.targets))
        case ReferenceTape():
            return list(_sections(sheet))
    return []


def _targets(targets: Mapping[str, Target]) -> Iterator[Wrong]:
    for name, target in targets.items():
        at = ("targets", name)
        if not re.fullmatch(r"[a-z0-9_]+", name):
            yield Wrong(at, "no step can name it", 'use small letters, digits and _, as in "replay_level"')
        limits = [key for key in ("at_least", "at_most") if getattr(target, key) is not None]
        if limits and (len(limits) > 1 or target.tolerance is not None or target.bands):
            others = "the other limit" if len(limits) > 1 else "a tolerance"
            yield Wrong((*at, limits[0]), f"stands beside {others}", "give one of them: a target is judged one way")
        elif not limits and target.tolerance is None and not target.bands:
            remedy = "give tolerance, bands of frequency, at_least or at_most"
            yield Wrong((*at, "tolerance"), "missing: nothing can be judged", remedy)
        for n, band in enumerate(target.bands):
            if band.from_hz >= band.to_hz:
                said = f"from {band.from_hz:g} to {band.to_hz:g} Hz is no band"
                yield Wrong((*at, "bands", n), said, "from_hz is the lower one")


def _machine(sheet: Machine) -> Iterator[Wrong]:
    for key, value in (("send_dbfs", sheet.reference.send_dbfs), ("replay_dbfs", sheet.reference.replay_dbfs)):
        if value > 0:
            yield Wrong(("reference", key), f"{value:g} dBFS is above full scale", "0 dBFS is the highest there is")
    for n, trimmer in enumerate(sheet.trimmers):
        if trimmer in sheet.trimmers[:n]:
            yield Wrong(("trimmers", n), f"{shown(trimmer)} is there twice", "list each once")


def _sections(tape: ReferenceTape) -> Iterator[Wrong]:
    ids = [s.id for s in tape.section]
    for n, name in enumerate(ids):
        if name in ids[:n]:
            yield Wrong(("section", n, "id"), f"{shown(name)} is there twice", "give each section an id of its own")

"""Checks of the method that a `measure` step names. Each needs nothing but the file."""

from __future__ import annotations

from collections.abc import Iterator

from bench.procedure.load.file_problems import Told, did_you_mean, shown
from bench.procedure.model.steps import Measure

_NOISE = (
    "A-weighted rms",
    "unweighted rms 22.4 Hz-22.4 kHz",
    "ITU-R BS.468 weighted quasi-peak",
    "2 kHz average-responding",
)
METHODS: dict[str, tuple[str, ...]] = {
    "wow_and_flutter": (
        "IEC 60386 weighted quasi-peak",
        "IEC 60386 weighted two-sigma",
        "weighted rms",
        "unweighted rms",
        "unweighted quasi-peak",
    ),
    "noise": _NOISE,
    "signal_to_noise": _NOISE,
    "hum": ("total of mains frequency and harmonics", "line at"),
    "third_harmonic": ("of the fundamental",),
    "second_harmonic": ("of the fundamental",),
    "thd": ("of the fundamental", "of the total signal"),
}
"""The methods of each quantity whose readings are told apart by them, as their meters name them.

They stand here in words because the meters are slow to load, and a file is checked while it is being written.
"""

USUAL_METHOD = {"hum": "total", "thd": "of the fundamental"}
"""What is judged where the step names none: all of hum, not each line of it; harmonics by the convention of the second
and third. Where several methods are known and none is usual, one must be named: flutter differs by a factor of two and
more from one to the next (IEC 60386), noise by 10 dB, so that one target cannot serve them all."""


def check_method(step: Measure) -> Iterator[Told]:
    """A method that its meter does not give; none, where one must be named."""
    known, about = METHODS.get(step.quantity), ("method", "quantity")
    if not step.method:
        if known is not None and len(known) > 1 and step.quantity not in USUAL_METHOD:
            said = f"missing: {len(known)} methods would be judged by one target"
            yield ("method",), said, f'name the method, `method = "{known[0]}"` for one', about
        return
    if known is None:
        yield ("method",), f"there is only one for {step.quantity}", "take it out", about
        return
    named = _named(step.method, known)
    if not named:
        said = f"{shown(step.method)} is no method of {step.quantity}"
        yield ("method",), said, did_you_mean(step.method, known), about
    elif len(named) > 1:
        said = f"{shown(step.method)} is the name of {len(named)} methods"
        yield ("method",), said, f"name the method whole: {' or '.join(shown(n) for n in named)}", about


def _named(said: str, known: tuple[str, ...]) -> list[str]:
    """The methods that a text stands for: the whole name, else its beginning, else a part of it."""
    wanted = said.casefold()
    for fits in (str.__eq__, str.startswith, str.__contains__):
        found = [name for name in known if fits(name.casefold(), wanted)]
        if found:
            return found
    return [name for name in known if name == "line at" and wanted.startswith(name)]

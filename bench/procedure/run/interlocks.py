"""What must be done before a step starts: interlocks that no procedure can bypass, and the switches of the machine.

After a reference tape or an owner's tape was loaded, nothing is recorded until a person confirms that it is out. The
reference tape is not played on a machine that was not cleaned and demagnetised, unless a person gives a reason, which
the report prints. A third rule is checked when a procedure is loaded: speed, and azimuth on two heads, are never judged
from the machine's own recording.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

from bench.audio.port import LOADS
from bench.problem import Problem
from bench.procedure.kinds.bench import Bench
from bench.procedure.model.steps import ByHand, Measuring, StepBase, plays_reference_tape, records, takes_reference_tape
from bench.procedure.run.views import job_view
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Acted, Overridden, Switched
from bench.procedure.state.snapshot import Prompt

NOT_FOR_RECORDING = {"load-reference-tape": "Reference tape", "load-owners-tape": "Owner's tape"}
"""Acts that load a tape that must not be recorded over, with the name of the tape."""
SWAP = "{} out and put away, tape in use loaded. Confirm before anything records."
CARE = {"clean": "cleaned", "demagnetise": "demagnetised"}
"""Acts that a machine needs before the reference tape is played on it."""
REFUSED = "{} in this run. The reference tape stays out, unless you say why it may go in."

Control = Literal["noise-reduction", "direction", "setting"]

AT_FIRST: dict[str, str] = {"noise-reduction": "off", "direction": "forward"}
"""Positions of the switches before a run. Noise reduction is out unless a step asks for it."""

ASKED = {
    "off": "Switch noise reduction out. Confirm when it is.",
    "on": "Switch noise reduction in, for recording and replay. Confirm when it is.",
    "record-only": "Switch noise reduction in for recording and out for replay. Confirm when it is.",
    "replay-only": "Switch noise reduction out for recording and in for replay. Confirm when it is.",
    "forward": "Let the tape run forward. Confirm when it does.",
    "reverse": "Let the tape run in reverse. Confirm when it does.",
}


def care_missing(events: Sequence[Event]) -> list[str]:
    """What the machine lacks before the reference tape may be played; nothing where a person gave a reason."""
    acts = {e.act for e in of_kind(events, Acted)}
    return [] if any(of_kind(events, Overridden)) else [done for act, done in CARE.items() if act not in acts]


class Interlocks:
    """Derives from the journal what must be done before a step may start."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._first = bench.job
        self._asked: tuple[Control, str] | None = None

    def _acts(self) -> list[str]:
        return [e.act for e in of_kind(self._bench.journal.events(), Acted)]

    def _tape_in(self) -> str:
        """The act that loaded the last tape, at any setting of the machine."""
        loads = [act for act in self._acts() if act in LOADS]
        return loads[-1] if loads else ""

    def _loaded_here(self) -> str:
        """The act that loaded the last tape since the machine was set for another tape."""
        loaded = ""
        for event in self._bench.journal.events():
            if isinstance(event, Switched) and event.control == "setting":
                loaded = ""
            elif isinstance(event, Acted) and event.act in LOADS:
                loaded = event.act
        return loaded

    def demand(self, step: StepBase) -> Prompt | None:
        """The question to be answered before a step may start, or None. Loads tapes where the program can."""
        self._asked = None
        if self._bench.is_file:
            return None
        asked = self._setting(step)
        if asked is not None:
            return asked
        if plays_reference_tape(step):
            missing = care_missing(self._bench.journal.events())
            if missing:
                return Prompt("reason", REFUSED.format("Not " + " and not ".join(missing)), interlock=True)
            if self._loaded_here() != "load-reference-tape":
                self._bench.do("load-reference-tape", step)
        if records(step):
            if self._tape_in() in NOT_FOR_RECORDING:
                return Prompt("confirm", SWAP.format(NOT_FOR_RECORDING[self._tape_in()]), interlock=True)
            if not self._loaded_here():
                self._bench.do("load-work-tape", step)
        return self._switches(step)

    def _setting(self, step: StepBase) -> Prompt | None:
        """Set the machine for the tape of a step, or ask for that, where it is lined up for several."""
        if not self._first.further or not (isinstance(step, Measuring | ByHand) or records(step)):
            return None
        if isinstance(step, ByHand) and not set(LOADS) & set(step.does):
            return None
        job = self._bench.job
        wanted = job.machine.setting[0].name
        if self._position("setting") == wanted:
            return None
        if not self._switched("setting", wanted):
            self._asked = ("setting", wanted)
            view = job_view(job)
            loads = job.reference_tape.name if takes_reference_tape(step) else view.tape
            to = f"{wanted}: {view.equalisation}, {view.speed}. The tape for it is {loads}"
            return Prompt("confirm", f"Take the tape out. Set the machine to {to}. Confirm when it is set.")
        self._note("setting", wanted, step)
        return None

    def _switches(self, step: StepBase) -> Prompt | None:
        """Set the switches where the program can; else ask for the first one in another position."""
        for control, wanted in _wanted(step):
            if self._position(control) == wanted:
                continue
            if not self._switched(control, wanted):
                self._asked = (control, wanted)
                return Prompt("confirm", ASKED[wanted])
            self._note(control, wanted, step)
        return None

    def _position(self, control: Control) -> str:
        switched = [e for e in of_kind(self._bench.journal.events(), Switched) if e.control == control]
        if switched:
            return switched[-1].position
        return self._first.machine.setting[0].name if control == "setting" else AT_FIRST[control]

    def _switched(self, control: Control, wanted: str) -> bool:
        hands = self._bench.hands
        if hands is None:
            return False
        try:
            hands.switch(control, wanted)
        except Problem:  # the program cannot reach this switch, but the person can
            return False
        return True

    def _note(self, control: Control, wanted: str, step: StepBase) -> None:
        self._bench.note(step.id, Switched(control, wanted))

    def confirm(self, step: StepBase) -> None:
        """Note that the person has changed the tape or set the switch."""
        if self._asked is not None:
            self._note(*self._asked, step)
        else:
            self._bench.do("load-work-tape", step)

    def override(self, step: StepBase, reason: str) -> None:
        """Note that the reference tape is played in spite of the interlock."""
        self._bench.note(step.id, Overridden(reason))


def _wanted(step: StepBase) -> Iterator[tuple[Control, str]]:
    if isinstance(step, Measuring):
        yield "noise-reduction", step.noise_reduction
        yield "direction", step.direction or "forward"
    elif step.direction is not None:
        yield "direction", step.direction

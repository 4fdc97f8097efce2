"""What one key begins and what then goes on without keys: measuring steps, and turns as the gauges propose them."""

from __future__ import annotations

from bench.procedure.run.commands import Turn
from bench.procedure.state.snapshot import Snapshot
from bench.tui import presentation


class MeasuringSteps:
    """Measuring steps that follow one another until one needs a person or is out."""

    def __init__(self) -> None:
        self.going = False
        self._answered = ("", "")
        """Step and prompt that were answered last: each is answered only once."""

    def begin(self) -> None:
        """Begin with the current step."""
        self.going, self._answered = True, ("", "")

    def stop(self) -> None:
        """Leave the next step to the person."""
        self.going = False

    def answer(self, seen: Snapshot) -> bool:
        """Whether the step is to be answered with the go-on key now."""
        self.going = self.going and presentation.runs_on(seen)
        here = (seen.step.id if seen.step is not None else "", seen.prompt.text)
        if not self.going or seen.prompt.kind != "go-on" or here == self._answered:
            return False
        self._answered = here
        return True


class ProposedTurns:
    """Turns that are made as the gauges propose them, one after another, until none is left."""

    def __init__(self) -> None:
        self._step = ""
        """Id of the step whose turns are made; "" for none."""
        self._made_from: tuple[float, ...] = ()
        """Positions of the trimmers before the last turn: a turn that moved nothing is not repeated."""
        self._read_before: float | None = None
        """Time of the last reading before that turn took effect, seconds: its proposal was for the earlier position."""

    @property
    def going(self) -> bool:
        """Whether turns are being made."""
        return bool(self._step)

    def begin(self, step: str) -> None:
        """Begin with the turns of a step; whatever is proposed first is made."""
        self._step, self._made_from, self._read_before = step, (), -1.0

    def stop(self) -> None:
        """Leave the trimmers to the person."""
        self._step = ""

    def next(self, seen: Snapshot, picked: int) -> Turn | None:
        """The turn to make now: that of the picked trimmer, else the first proposed. None to wait, or at the end."""
        proposals = presentation.proposed_turns(seen)
        done = presentation.all_in(seen) and not proposals
        if not self._step or done or seen.step is None or seen.step.id != self._step or seen.held:
            self.stop()
            return None
        read_at = presentation.read_at(seen)
        if self._read_before is None:
            self._read_before = read_at
        fresh = read_at is None or read_at > (self._read_before or 0.0)
        positions = tuple(t.degrees for t in seen.trimmers)
        if not (fresh and proposals) or seen.prompt.kind == "choice" or positions == self._made_from:
            return None
        wanted = seen.trimmers[min(picked, len(seen.trimmers) - 1)].name
        trimmer = wanted if wanted in proposals else next(iter(proposals))
        self._made_from, self._read_before = positions, None
        return Turn(trimmer, proposals[trimmer])

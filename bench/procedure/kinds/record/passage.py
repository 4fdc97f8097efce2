"""One passage over the tape: record something behind a start mark, and find its replay by that mark.

Three heads replay while they record, so the mark also shows the head delay. Two heads record, rewind and play. The mark
is found at any speed, and what was sent `t` seconds after it comes `t / speed` seconds after it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from bench.audio.port import Block, Samples
from bench.problem import Problem
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.record.mark_search import MarkSearch
from bench.procedure.state.snapshot import Prompt
from bench.signals.source import Source
from bench.signals.start_mark import START_MARK_S, StartMark
from bench.signals.tones import Gap, ToneSequence
from bench.words.lost_sound import REMEDY, lost_text

LEAD_IN_S = 3.0
"""Silence ahead of the mark: the tape comes up to speed, and an older mark is erased where a rewind was a little too
long or too short."""

BETWEEN_S = 0.5
"""Silence ahead of a mark between recordings in one passage."""

TAIL_S = 1.0
"""Recorded after the source, so that its end is on the tape."""

MARK_BELOW_DB = 8.0
"""Level of the mark below the reference level: no tape saturates, and hiss does not mask it."""

FAINT_MARK_DB = 24.0
"""A mark this much below its level on a machine in adjustment is what was left of an earlier recording. Level and dirt
seldom cost a mark more than half as much. A choice."""

LONGEST_SEARCH_S = 300.0
"""Two heads: longest wait for the mark after the recording, while a person rewinds and plays."""

LATE_S = 2.5
"""Three heads: longest head delay, including the delay of the interface."""

REWIND = "Stop, rewind to before it began, and play: it is recognised automatically"

Phase = Literal["ready", "recording", "recorded", "seeking", "replaying", "over"]


@dataclass(frozen=True, slots=True)
class Replayed:
    """A stretch of the replay."""

    samples: Samples
    at_s: float
    """Time at which its first sample was sent, seconds after the end of the mark."""
    rate: int
    """Frames a second."""

    def between(self, from_s: float, to_s: float) -> Samples:
        """The samples that were sent between two times, seconds after the end of the mark; may be empty."""
        ends_s = self.at_s + len(self.samples) / self.rate
        first, last = (max(0, round((min(t, ends_s) - self.at_s) * self.rate)) for t in (from_s, to_s))
        return self.samples[first:last]


class Passage:
    """Records a source, and returns its replay from the end of the mark to the end of the source.

    On two heads it listens for the replay as soon as the recording is over.

    Args:
        bench: the bench of the run.
        source: what is recorded; None is silence.
        seconds: its length, where the source has none.
        at_once: whether the machine replays while it records.
        replayed_s: length of the replay, where it is longer than the recording.
        waits: two heads: whether the replay waits for a call of `replay`, because more is recorded first.
        monitor: with `at_once`: what is heard, the tape or the source.
    """

    def __init__(
        self,
        bench: Bench,
        source: Source | None,
        seconds: float | None,
        *,
        at_once: bool,
        replayed_s: float | None = None,
        waits: bool = False,
        monitor: Literal["tape", "source"] = "tape",
    ) -> None:
        self._bench = bench
        self._monitor = monitor
        self._rate = bench.port.status.sample_rate
        self._source = source
        own = None if source is None else source.frames
        length = round(seconds * self._rate) if seconds is not None else own
        if length is None:
            raise ValueError("a passage needs a length")
        self._frames = length
        self._replayed = length if replayed_s is None else round(replayed_s * self._rate)
        self.at_once = at_once
        self._waits = waits
        self.phase: Phase = "ready"
        self.speed = 1.0
        """Speed of the replay relative to the recording, once the mark is found."""
        self.head_delay_s: float | None = None
        """Three heads: time from sending to replay, once the mark is found."""
        self.why_not = ""
        """Why the replay is missing or incomplete; "" when it is complete."""
        self._mark_frame = 0
        self._ends_at = 0
        self._now = 0
        self._search: MarkSearch | None = None
        self._starts: int | None = None
        self._began = 0
        self._goes_on = False
        self._lost = 0

    @property
    def seconds(self) -> float:
        """Length of the recording."""
        return self._frames / self._rate

    @property
    def left_s(self) -> int:
        """Time left of the recording or the replay, seconds."""
        return math.ceil(max(0, self._ends_at - self._now) / self._rate)

    # ---------------------------------------------------------------- recording and replaying

    def record(self, *, goes_on: bool = False) -> None:
        """Start to record. The practice machine is rewound first.

        Args:
            goes_on: the tape is already recording; this follows what was recorded before.
        """
        hands = self._bench.hands
        if hands is not None and not self.at_once and not goes_on:
            hands.rewind()
        self._bench.transport("record")
        if hands is not None and self.at_once:
            hands.switch("monitor", self._monitor)
        reference = self._bench.job.machine.reference
        mark = StartMark(self._rate, max(-60.0, reference.send_dbfs - MARK_BELOW_DB))
        lead_in_s = BETWEEN_S if goes_on else LEAD_IN_S
        parts: list[Gap | Source] = [Gap(lead_in_s), mark]
        if self._source is not None:
            parts.append(self._source)
        begins = self._bench.send(ToneSequence(parts, self._rate))
        if self._source is not None:
            self._bench.sending = self._source.description
        self._mark_frame = begins + round(lead_in_s * self._rate)
        self._ends_at = self._mark_frame + mark.frames + self._frames + round(TAIL_S * self._rate)
        self._search, self._starts = None, None
        self.phase = "recording"

    def replay(self, *, goes_on: bool = False) -> None:
        """Listen for the mark. The practice machine is rewound and plays; elsewhere a person does this.

        Args:
            goes_on: the tape is already playing; this recording comes next.
        """
        hands = self._bench.hands
        self._goes_on = goes_on
        if not goes_on:
            if hands is not None:
                hands.rewind()
            self._bench.transport("play")
        self._search, self._starts = None, None
        self.phase = "seeking"

    def stop(self) -> None:
        """End the passage: stop sound and tape."""
        self._bench.silence()
        self._bench.transport("stop")
        self.phase = "over"

    def no_more(self) -> None:
        """End the replay, because the person says that nothing more will come.

        Raises:
            Problem: the recording is not over, or its mark was not heard: a key pressed by mistake must not lose the
                recording.
        """
        if self.phase == "recording":
            raise Problem("the tones are being recorded; wait, or stop the sound and repeat the step")
        if self.phase == "seeking":
            raise Problem(f"{REWIND}; repeat the step if it is not found")
        if self.phase == "replaying" and self._now < self._ends_at:
            raise Problem(f"the replay is being listened to, and ends automatically in {self.left_s} s")
        self.give_up()

    def again(self) -> None:
        """Begin the recording, or the replay, again after lost sound."""
        if self.phase == "recording":
            self.record()
        elif self.phase in ("seeking", "replaying"):
            self.replay()

    @property
    def listens(self) -> bool:
        """Whether the input matters: it does not while a machine with two heads records."""
        return self.phase in ("seeking", "replaying") or (self.phase == "recording" and self.at_once)

    @property
    def prompt(self) -> Prompt:
        """Recording or listening, with the time left; or what to do at the machine."""
        if self.phase == "seeking" and not self._goes_on and self._bench.hands is None:
            return Prompt("wait", REWIND, by_hand=True)
        if self.phase == "recording":
            return Prompt("wait", "Recording and replaying" if self.at_once else "Recording", left_s=self.left_s)
        left_s = self.left_s if self.phase == "replaying" else None
        return Prompt("wait", "Listening to the replay, from its mark on", left_s=left_s)

    # ---------------------------------------------------------------- listening

    def hear(self, block: Block) -> Replayed | None:
        """Take in a block; returns the part of the replay in it."""
        self._now = block.start + len(block.samples)
        self._lost += block.lost
        if self.phase == "recording" and not self.at_once:
            if self._now >= self._ends_at:
                self._bench.silence()
                self.phase = "recorded"
                if not self._waits:
                    self._bench.transport("stop")
                    self.replay()
            return None
        if self.phase not in ("recording", "seeking", "replaying"):
            return None
        heard = self._found(block) if self._starts is None else self._on(block.samples, block.start)
        if self._starts is not None and self._now >= self._ends_at:
            self.phase = "over"
        elif self.phase == "seeking" and self._now > self._began + LONGEST_SEARCH_S * self._rate:
            self.give_up()
        elif (
            self.at_once
            and self._starts is None
            and self._now > self._mark_frame + (START_MARK_S + LATE_S) * self._rate
        ):
            self.why_not = self._spoilt or (
                "the start mark did not come back; check that the machine records, that its monitor is on tape, and "
                "that it is connected both ways"
            )
            self.phase = "over"
        return heard

    def give_up(self) -> None:
        """End the replay: nothing more will come."""
        if self._starts is None:
            self.why_not = "the start mark was not found; rewind to before where the recording began, and play it"
        else:
            self.why_not = "the replay ended before the recording did"
        self.phase = "over"

    @property
    def _spoilt(self) -> str:
        """The reason to give before any other where sound was lost; "" where none was."""
        return f"{lost_text(self._lost, self._rate)}; {REMEDY}" if self._lost else ""

    def _found(self, block: Block) -> Replayed | None:
        """Look for the mark; returns what followed it."""
        if self._search is None:
            least_dbfs = self._bench.job.replay_dbfs - MARK_BELOW_DB - FAINT_MARK_DB
            not_before = self._mark_frame if self.at_once else 0
            self._search, self._began = MarkSearch(self._rate, least_dbfs, not_before), block.start
        found = self._search.hear(block)
        if found is None:
            return None
        if self.at_once:
            self.head_delay_s = (found.begins - self._mark_frame) / self._rate
        else:
            self.speed = found.speed
            if not self._goes_on:
                self._bench.drop_sound_before(found.sound_from)
        self.phase = "recording" if self.at_once else "replaying"
        self._starts = found.begins + round(START_MARK_S / self.speed * self._rate)
        self._ends_at = self._starts + round(self._replayed / self.speed)
        return self._on(found.sound, found.sound_from)

    def _on(self, samples: Samples, start: int) -> Replayed | None:
        """The part of these samples that replays the source."""
        if self._starts is None:
            return None
        first = max(start, self._starts)
        inside = samples[first - start : max(0, self._ends_at - start)]
        return Replayed(inside, (first - self._starts) * self.speed / self._rate, self._rate) if len(inside) else None


def refuse_file(bench: Bench, cannot: str = "be recorded on") -> None:
    """Raise `Problem` where the sound comes from a capture and not from a machine."""
    if bench.is_file:
        raise Problem(f"a file cannot {cannot}")


def to_record(bench: Bench, *, source: bool = False) -> str:
    """What to do at the machine before tones are recorded, or before the source is read at the output."""
    if source and bench.job.machine.heads == 3:
        return "Tape in use loaded, in record or record-pause, monitor on source, loudspeakers down"
    if source:
        return "Tape in use loaded, in record or record-pause, loudspeakers down"
    if bench.job.machine.heads == 3:
        return "Tape in use loaded and recording, monitor on tape, loudspeakers down"
    return "Tape in use loaded, wound to where it may be recorded over, and recording; loudspeakers down"

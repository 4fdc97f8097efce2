"""The practice machine: a recorder that behaves like one, with hands to act on it and sound going through it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bench.practice import kernels
from bench.practice.compander import REDUCTION_POSITIONS, Reduction
from bench.practice.facts import FaultFacts, MachineFacts, ReferenceFacts, TapeFacts
from bench.practice.filters import CHUNK, RATE
from bench.practice.flaws import Dropouts, Echo
from bench.practice.mains_hum import Hum
from bench.practice.media import VIRGIN_NOISE_DB
from bench.practice.owners_tape import owners_tape
from bench.practice.physics import Condition, MachinePhysics
from bench.practice.record_side import RecordSetting
from bench.practice.replay_side import ReplaySetting, beside, wired
from bench.practice.tape_stock import Blanks
from bench.practice.tapes import ReferenceTape, WorkTape
from bench.practice.transport import Transport
from bench.practice.trimmers import REVERSE, Position, draw, names
from bench.problem import Problem
from bench.tape.geometry import delay_us

Floats = NDArray[np.float64]

Threaded = Literal["none", "reference", "work", "owners"]
SIDES = ("left", "right")
MOMENTS = np.arange(CHUNK, dtype=float)
AZIMUTH_STEP_ARCMIN = 0.15
WEAR_UM = 0.02
"""What a pass over badly magnetised heads takes, as a spacing: 0.2 dB at 10 kHz on a cassette. Common practice, no
source, that it is slow and a little."""
POSITIONS = {
    "transport": ("stop", "play", "record"),
    "monitor": ("tape", "source"),
    "noise-reduction": REDUCTION_POSITIONS,
    "direction": ("forward", "reverse"),
}


class PracticeMachine:
    """A recorder with trimmers, tapes and faults, at 48 kHz.

    It works on chunks of 20 ms whatever blocks it is fed with, so its output comes one chunk late and is the same
    samples for the same seed however the input is split. Whatever hands do takes effect at the next chunk.

    Args:
        machine: the recorder.
        work_tape: what is recorded on.
        reference: the reference tape.
        seed: draws misadjustments, trimmers, phases and noise.
        faults: physical changes, each of figures of its own.
        misadjustment: 1 for trimmers off by up to 6 dB, 0 for a machine that is right but for its faults.
        tape_minutes: length of the work tape.
        other_tapes: work tapes that can be threaded instead, numbered from 1.

    Raises:
        Problem: a figure that the practice machine does not know or that can't be.
    """

    rate = RATE

    def __init__(
        self,
        machine: MachineFacts,
        work_tape: TapeFacts,
        reference: ReferenceFacts,
        *,
        seed: int,
        faults: Sequence[FaultFacts] = (),
        misadjustment: float = 1.0,
        tape_minutes: float = 10.0,
        other_tapes: Sequence[TapeFacts] = (),
    ) -> None:
        if machine.heads not in (2, 3):
            raise Problem(f"{machine.name}: a machine has 2 or 3 heads, not {machine.heads}")
        self._facts, self._seed = machine, seed
        self._condition = Condition(machine, tuple(faults))
        physics = self._condition.now
        self._trimmers = draw(physics, machine.heads, seed, misadjustment)
        self._transport = Transport(physics, machine.speed_mm_s, seed)
        tapes = (work_tape, *other_tapes)
        self._blanks = Blanks(machine, physics, tapes, reference.level_hz, seed=seed, minutes=tape_minutes)
        self._blank, self._reference = self._blanks.get(0), ReferenceTape(reference, machine)
        self._reduction = Reduction(machine, self._blanks.usual.iec_type)
        self._rng = np.random.Generator(np.random.SFC64([seed, 0x51]))
        self._tape: Threaded = "none"
        self._owners: WorkTape | None = None
        self._reference_level_hz = reference.level_hz
        self._transport_at, self._monitor = "stop", "tape"
        self._azimuth_screw = "replay azimuth"
        self._chunk = 0
        self._ran, self._sounding = False, 0
        self._hum = Hum()
        self._angles = (0.0, 0.0)
        self._azimuth_heard = 0.0
        self._worn_um = 0.0
        self._virgin_db = 0.0
        self._heard = np.zeros((0, 2))
        self._ready = np.zeros((CHUNK, 2))
        self._set_contact(physics)
        distance = physics.head_distance_mm if machine.heads == 3 else 0.0
        self._head_distance = distance / machine.speed_mm_s * RATE
        if machine.heads == 3 and self._head_distance < 8 * kernels.HALF:
            raise Problem(f"{machine.name}: practice.head_distance_mm is too short for three heads at this speed")

    # What hands do

    def clean(self) -> None:
        """Clean heads, capstan, pinch roller and guides."""
        self._mend(self._condition.clean)

    def demagnetise(self) -> None:
        """Demagnetise heads and guides."""
        self._mend(self._condition.demagnetise)

    def _mend(self, act: Callable[[], None]) -> None:
        before = self._condition.now
        act()
        after = self._condition.now
        self._set_contact(after)
        for name, (_, key) in names(self._facts.heads).items():
            self._trimmers[name].shift(getattr(after, key) - getattr(before, key))

    def _set_contact(self, physics: MachinePhysics) -> None:
        """How tape and replay head meet beside the gap itself."""
        distance = physics.contour_mm / self._facts.speed_mm_s * RATE
        # A rise of both edges together, falling from where they are half a wavelength away.
        gain = -(10 ** (physics.contour_db / 20) - 1) / 2
        self._edges = Echo(distance, gain, RATE / (2 * distance))
        self._contact = Dropouts(physics.dropouts_per_minute, self._seed + 1)

    def load(self, tape: Threaded, lot: int = 0) -> None:
        """Thread a tape, or none; the transport stops. Reference and owner's tape come wound to their start.

        Args:
            tape: which kind.
            lot: of several work tapes, which.
        """
        if tape not in ("none", "reference", "work", "owners"):
            raise Problem(f"there is no tape called {tape}: reference, work, owners or none")
        if tape == "owners":
            self._owners = self._owners or owners_tape(self._facts, self._reference_level_hz, self._seed)
            self._owners.position = 0.0
        self._transport_at, self._tape = "stop", tape
        if tape == "work":
            self._blank = self._blanks.get(lot)
        if tape == "reference":
            self._reference.rewind(None)

    def rewind(self, section: str | None = None) -> None:
        """To the start, or to a section of the reference tape, which then repeats without a pause."""
        if self._tape == "reference":
            self._reference.rewind(section)
        elif section is not None:
            raise Problem(f"there is no section {section}: the reference tape is not on the machine")
        else:
            self._threaded().position = 0.0

    def switch(self, control: str, position: str) -> None:
        """Set `transport` to stop, play or record; `monitor` to tape or source; `noise-reduction`; `direction`.

        Noise reduction is off, on, record-only (encoder in, decoder out) or replay-only; the tape of an auto-reverse
        deck runs forward or in reverse.
        """
        if control not in POSITIONS:
            raise Problem(f"the practice machine has no control {control}; it has {', '.join(POSITIONS)}")
        if position not in POSITIONS[control]:
            raise Problem(f"{control} has no position {position}; it has {', '.join(POSITIONS[control])}")
        if position == "record" and self._tape != "work":
            there = {"none": "no tape is", "owners": "the owner's tape is"}.get(self._tape, "the reference tape is")
            raise Problem(f"{there} on the machine: load the work tape before recording")
        if control == "transport":
            self._transport_at = position
        elif control == "monitor":
            self._monitor = position
        elif control == "direction":
            if position == "reverse" and not self._condition.now.auto_reverse:
                raise Problem(f"{self._facts.name} runs forward only")
            self._azimuth_screw = REVERSE if position == "reverse" else "replay azimuth"
        elif position != "off" and self._facts.noise_reduction == "none":
            raise Problem(f"{self._facts.name} has no noise reduction to switch in")
        else:
            physics = self._condition.now
            self._reduction.switch(position, physics.encoder_side_db, physics.decoder_side_db)

    def turn(self, trimmer: str, degrees: float) -> None:
        """Turn a trimmer, positive clockwise, as far as its stop."""
        if trimmer not in self._trimmers:
            raise Problem(f"there is no trimmer {trimmer}; there are {', '.join(self._trimmers)}")
        self._trimmers[trimmer].turn(degrees)

    def trimmers(self) -> tuple[Position, ...]:
        """The trimmers, as hands see them."""
        return tuple(t.info() for t in self._trimmers.values())

    @property
    def tape(self) -> Threaded:
        """What is threaded."""
        return self._tape

    @property
    def section(self) -> str | None:
        """The section of the reference tape that repeats."""
        return self._reference.section if self._tape == "reference" else None

    def truth(self) -> dict[str, float]:
        """How far each trimmer is from right, for tests and debriefs: dB, minutes of arc, % for speed."""
        return {name: trimmer.error for name, trimmer in self._trimmers.items()}

    @property
    def standing_faults(self) -> tuple[str, ...]:
        """The faults it has now, by name; those that trimmers set right stand as long as it lives."""
        return self._condition.standing

    # What sound does

    def process(self, incoming: Floats) -> Floats:
        """Take in what is sent and give what comes out: both shape (n, 2), full scale ±1, any n."""
        self._heard = np.concatenate((self._heard, incoming))
        made = [self._ready]
        while len(self._heard) >= CHUNK:
            made.append(self._one_chunk(self._heard[:CHUNK].T).T)
            self._heard = self._heard[CHUNK:]
        ready = np.concatenate(made)
        self._ready = ready[len(incoming) :]
        return ready[: len(incoming)]

    def _error(self, title: str, side: str = "") -> float:
        return self._trimmers[f"{title} {side}".strip()].error

    def _one_chunk(self, sent: Floats) -> Floats:
        physics = self._condition.now
        for trimmer in self._trimmers.values():
            trimmer.settle(CHUNK / RATE)
        source = sent / 10 ** (self._facts.send_dbfs / 20)
        running = self._transport_at != "stop" and self._tape != "none"
        # Silence still has to run through the filters once the tape stands.
        self._sounding = 3 if running else max(0, self._sounding - 1)
        to_record = self._reduction.encode(source) if self._transport_at == "record" else source
        out = self._replayed(to_record, running) if self._sounding else np.zeros((2, CHUNK))
        noise = 10 ** (physics.amplifier_noise_db / 20) / np.sqrt(2) * self._rng.standard_normal((2, CHUNK))
        noise += 10 ** (physics.hum_db / 20) * self._hum.chunk(self._chunk, physics.hum_hz)
        if self._monitor == "source" or (self._facts.heads == 2 and self._transport_at == "record"):
            out = source + noise
        else:
            out = self._reduction.decode(wired(out, physics) + noise)
        self._chunk += 1
        return np.clip(out * 10 ** (self._facts.replay_dbfs / 20), -1.0, 1.0)

    def _replayed(self, source: Floats, running: bool) -> Floats:
        """What the replay side gives, re the reference level; `source` is what may be recorded, encoded or not."""
        physics = self._condition.now
        weave = self._transport.weave(physics, self._chunk)
        replay = self._error(self._azimuth_screw) + weave
        record = self._error("record azimuth") + weave if self._facts.heads == 3 else replay
        before, self._angles = self._angles, (replay, record)
        flux = np.zeros((2, CHUNK))
        if running:
            flux = self._from_tape(source, before)
        else:
            self._set_replay_side(replay)
        hiss = self._rng.standard_normal((2, CHUNK)) * 10 ** (0.3 * physics.magnetised + self._virgin_db / 20)
        # A reference tape drives both tracks: the machine's level holds with their crosstalk in it.
        crosstalk = 10 ** (physics.crosstalk_db / 20)
        flux = (flux + crosstalk * flux[::-1]) / (1 + crosstalk)
        if running != self._ran:
            fade = np.linspace(float(self._ran), float(running), CHUNK)
            flux, hiss = flux * fade, hiss * fade
            self._ran = running
        elif not running:
            flux, hiss = np.zeros_like(flux), np.zeros_like(hiss)
        return self._blank.replay_side.run(flux, hiss)

    def _from_tape(self, source: Floats, before: tuple[float, float]) -> Floats:
        """Move the tape on, record on it if that is what it does, and give the flux at the replay head.

        Args:
            source: what is sent, re the level that should record the reference fluxivity.
            before: the angles of replay and record head at the chunk's start; they now stand at `_angles`.
        """
        physics = self._condition.now
        replay, record = self._angles
        tape = self._threaded()
        self._transport.position = tape.position
        positions = self._transport.advance(physics, self._chunk, self._error("speed"))
        tape.position = self._transport.position
        height = physics.replay_height_mm
        if isinstance(tape, WorkTape):
            if self._transport_at == "record":
                self._set_record_side()
                flux = self._blank.record_side.run(source, self._rng.standard_normal((2, CHUNK)))
                # The head's angle puts the right channel as much earlier on the tape as it will read it late.
                shifts = (-self._late(before[1]), -self._late(record))
                tape.record(
                    flux, positions, shifts, record, 10 ** ((physics.erase_db + self._blank.harder_to_erase_db) / 20)
                )
            positions = positions - self._head_distance
            self._virgin_db = 0.0 if tape.recorded_at(positions[0]) else VIRGIN_NOISE_DB
            self._worn_um = tape.wear.at(positions[0])
            self._set_replay_side(replay - tape.azimuth_at(positions[0]))
            height -= physics.record_height_mm if self._facts.heads == 3 else height
        else:
            self._virgin_db, self._worn_um = 0.0, tape.wear.at(tape.place(positions[0]))
            self._set_replay_side(replay)
        tape.wear.pass_by(tape.place(positions[0]), tape.place(positions[-1]), WEAR_UM * physics.magnetised)
        half = np.linspace(self._late(before[0]) / 2, self._late(replay) / 2, CHUNK)
        left, right = positions[:-1] + half, positions[:-1] - half
        flux = tape.read(left, right)
        if physics.contour_db > 0:
            flux += self._edges.run(tape.read_roughly, left, right)
        if self._transport_at == "play" and tape is self._blank.tape:
            flux += self._blank.layers.run(tape.read_roughly, left, right)
        for flaw, places in ((self._blank.coating, positions[:-1]), (self._contact, self._chunk * CHUNK + MOMENTS)):
            gain = flaw.gain(places) if flaw is self._contact or tape is self._blank.tape else None
            flux = flux if gain is None else flux * gain
        return beside(flux, height, physics.track_width_mm, self._facts.track_spacing_mm)

    def _threaded(self) -> WorkTape | ReferenceTape:
        if self._tape == "reference":
            return self._reference
        return self._owners if self._tape == "owners" and self._owners is not None else self._blank.tape

    def _late(self, azimuth_arcmin: float) -> float:
        """By how much the right channel is late at an angle, samples on the tape."""
        microseconds = delay_us(azimuth_arcmin, self._facts.track_spacing_mm, self._facts.speed_mm_s)
        return float(microseconds) * 1e-6 * RATE

    def _set_record_side(self) -> None:
        physics = self._condition.now
        head = "record" if self._facts.heads == 3 else "replay"
        left, right = (
            RecordSetting(
                self._error("record level", side),
                self._error("record equalisation", side),
                self._error("bias", side),
                getattr(physics, f"{head}_dirt_{side}_um"),
                physics.magnetised,
            )
            for side in SIDES
        )
        self._blank.record_side.set(left, right)

    def _set_replay_side(self, azimuth_arcmin: float) -> None:
        physics = self._condition.now
        # The loss hardly moves within this step, which spares a filter at every waver; the delay is exact elsewhere.
        if abs(azimuth_arcmin - self._azimuth_heard) > AZIMUTH_STEP_ARCMIN:
            self._azimuth_heard = azimuth_arcmin
        left, right = (
            ReplaySetting(
                self._error("replay level", side),
                self._error("replay equalisation", side),
                physics.replay_t1_us or self._facts.equalisation_us[0],
                getattr(physics, f"replay_dirt_{side}_um") + self._worn_um,
                physics.magnetised,
            )
            for side in SIDES
        )
        self._blank.replay_side.set(physics, self._azimuth_heard, left, right)

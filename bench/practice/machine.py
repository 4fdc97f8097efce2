"""The practice machine: a simulated recorder with controls, trimmers, tapes and faults."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from bench.arrays import Floats
from bench.practice import kernels
from bench.practice.compander import NOISE_REDUCTION_POSITIONS, Compander
from bench.practice.facts import FaultFacts, LoadedTape, MachineFacts, ReferenceFacts, TapeFacts, TrimmerPosition
from bench.practice.filters import CHUNK, RAMP, RATE, level_db
from bench.practice.flaws import Echo
from bench.practice.looks import look_at
from bench.practice.mains_hum import MainsHum
from bench.practice.media import MEDIA, VIRGIN_NOISE_DB
from bench.practice.owners_tape import MINUTES, OwnersTape
from bench.practice.physics import DIRT, MachineCondition, MachinePhysics
from bench.practice.record_side import record_settings
from bench.practice.replay_side import replay_settings, with_height_error, with_wiring_faults
from bench.practice.roughness.coating import Coating, Dropouts
from bench.practice.roughness.contact import HeadContact
from bench.practice.roughness.electronics import Electronics
from bench.practice.tape_stock import TapeStock
from bench.practice.tapes import RecordableTape, ReferenceTape
from bench.practice.transport import Transport
from bench.practice.trimmers import REVERSE_AZIMUTH, draw_for_setting, trimmers_of
from bench.problem import Problem
from bench.tape.geometry import delay_us

SIDES = ("left", "right")
CHUNK_SAMPLES = np.arange(CHUNK, dtype=float)
AZIMUTH_STEP_ARCMIN = 0.3
ERASURE_PER_PASS_UM = 0.02
"""Loss from one pass over badly magnetised heads, as a spacing: 0.2 dB at 10 kHz on a cassette. That the loss is small
and builds up slowly is common practice, no source."""
POSITIONS = {
    "transport": ("stop", "play", "record"),
    "monitor": ("tape", "source"),
    "noise-reduction": NOISE_REDUCTION_POSITIONS,
    "direction": ("forward", "reverse"),
}


class PracticeMachine:
    """A recorder with trimmers, tapes and faults, at 48 kHz.

    It processes chunks of 40 ms, whatever the size of the input blocks. So its output is delayed by one chunk, and for
    a given seed it does not depend on the block size. A change to a control takes effect at the next chunk.

    Args:
        machine: the recorder.
        tape_in_use: the tape that it records on.
        reference: the reference tape.
        seed: random seed of misadjustments, trimmers, phases and noise.
        faults: physical changes; no two may change the same figure.
        misadjustment: 1 for trimmers in error by up to 6 dB, 0 for a machine that is correct except for its faults.
        tape_minutes: playing time of the tape.
        other_tapes: tapes that can be loaded instead, numbered from 1.

    Raises:
        Problem: an unknown or impossible figure.
    """

    rate = RATE

    def __init__(
        self,
        machine: MachineFacts,
        tape_in_use: TapeFacts,
        reference: ReferenceFacts,
        *,
        seed: int,
        faults: Sequence[FaultFacts] = (),
        misadjustment: float = 1.0,
        tape_minutes: float = 4.0,
        other_tapes: Sequence[TapeFacts] = (),
    ) -> None:
        if machine.heads not in (2, 3):
            raise Problem(f"{machine.name}: a machine has 2 or 3 heads, not {machine.heads}")
        self._facts, self._seed = machine, seed
        self._condition = MachineCondition(machine, tuple(faults))
        physics = self._condition.physics
        self._trimmers = draw_for_setting(machine, physics, seed, misadjustment)
        thickness = MEDIA[tape_in_use.iec_type].thickness_um if tape_in_use.iec_type in MEDIA else 12.0
        self._transport = Transport(physics, machine.speed_mm_s, thickness, seed)
        tapes = (tape_in_use, *other_tapes)
        self._stock = TapeStock(machine, physics, tapes, reference.level_hz, seed=seed, minutes=tape_minutes)
        self._stock_tape, self._reference = self._stock.get(0), ReferenceTape(reference, machine)
        self._compander = Compander(machine, self._stock.first.iec_type)
        self._rng = np.random.Generator(np.random.SFC64([seed, 0x51]))
        self._loaded: LoadedTape = "none"
        self.owners_tape = OwnersTape(machine, tape_in_use.iec_type, reference.level_hz, seed)
        self._transport_state, self._monitor = "stop", "tape"
        self._azimuth_screw = "replay azimuth"
        self._chunk = 0
        self._was_running, self._chunks_to_drain = False, 0
        self._hum, self._electronics = MainsHum(seed), Electronics(seed)
        self._contact = HeadContact(seed)
        per_minute = physics.tape_dropouts_per_minute
        self._reference_coating = Coating(per_minute, self._reference.seconds, seed + 2)
        self._owners_coating = Coating(per_minute, 60 * MINUTES, seed + 3)
        self._shells, self._seating = np.random.default_rng([seed, 0x5E]), 0.0
        self._angles = (0.0, 0.0)
        self._azimuth_filtered = self._erased_um = self._virgin_db = 0.0
        self._at_encoder = self._at_decoder = np.zeros((2, CHUNK))  # re the reference level
        self._pending_input = np.zeros((0, 2))
        self._pending_output = np.zeros((CHUNK, 2))
        self._set_head_contact(physics)
        distance = physics.head_distance_mm if machine.heads == 3 else 0.0
        self._head_distance = distance / machine.speed_mm_s * RATE
        if machine.heads == 3 and self._head_distance < 8 * kernels.HALF:
            raise Problem(f"{machine.name}: practice.head_distance_mm is too short for three heads at this speed")

    # Controls

    def clean(self) -> None:
        """Clean heads, capstan, pinch roller and guides."""
        self._remedy(self._condition.clean)

    def demagnetise(self) -> None:
        """Demagnetise heads and guides."""
        self._remedy(self._condition.demagnetise)

    def _remedy(self, act: Callable[[], None]) -> None:
        before = self._condition.physics
        act()
        after = self._condition.physics
        self._set_head_contact(after)
        for name, (_, key) in trimmers_of(self._facts.heads).items():
            self._trimmers[name].shift(getattr(after, key) - getattr(before, key))

    def _set_head_contact(self, physics: MachinePhysics) -> None:
        """Set the contour effect of the head's edges and the dropouts from poor contact."""
        distance = physics.contour_mm / self._facts.speed_mm_s * RATE
        # Together the edges raise the level, but less above the frequency at which they are half a wavelength away.
        gain = -(10 ** (physics.contour_db / 20) - 1) / 2
        self._head_edges = Echo(distance, gain, RATE / (2 * distance))
        self._poor_contact = Dropouts(physics.dropouts_per_minute, self._seed + 1)

    def load(self, tape: LoadedTape, lot: int = 0) -> None:
        """Load a tape, or none; the transport stops. Reference tape and owner's tape are at their start.

        Args:
            tape: the kind of tape.
            lot: the number of the recordable tape, if there are several; the side of the owner's tape.
        """
        if tape not in ("none", "reference", "work", "owners"):
            raise Problem(f"there is no tape called {tape}: reference, work, owners or none")
        if tape == "owners":
            self.owners_tape.load(lot)
        self._transport_state, self._loaded = "stop", tape
        if self._stock.first.iec_type != "open reel":
            self._seating = self._condition.physics.shell_seating_arcmin * float(self._shells.standard_normal())
        if tape == "work":
            self._stock_tape = self._stock.get(lot)
        if tape == "reference":
            self._reference.rewind(None)

    def rewind(self, section: str | None = None, *, on: bool = False) -> None:
        """Wind to the start, or to a section, which then repeats; with `on`, the reference tape plays on from it."""
        if self._loaded == "reference":
            self._reference.rewind(section, on=on)
        elif self._loaded == "owners":
            self.owners_tape.wind(section)
        elif section is not None:
            raise Problem(f"there is no section {section}: the reference tape is not on the machine")
        else:
            self._current_tape().position = 0.0

    def switch(self, control: str, position: str) -> None:
        """Set `transport` to stop, play or record; `monitor` to tape or source; `noise-reduction`; `direction`.

        Noise reduction is off, on, record-only (encoder in, decoder out) or replay-only. An auto-reverse deck runs
        forward or in reverse.
        """
        if control not in POSITIONS:
            raise Problem(f"the practice machine has no control {control}; it has {', '.join(POSITIONS)}")
        if position not in POSITIONS[control]:
            raise Problem(f"{control} has no position {position}; it has {', '.join(POSITIONS[control])}")
        if position == "record" and self._loaded != "work":
            texts = {"none": "no tape is", "owners": "the owner's tape is", "reference": "the reference tape is"}
            raise Problem(f"{texts[self._loaded]} on the machine: load the tape in use before recording")
        if control == "transport":
            self._transport_state = position
        elif control == "monitor":
            self._monitor = position
        elif control == "direction":
            if position == "reverse" and not self._condition.physics.auto_reverse:
                raise Problem(f"{self._facts.name} runs forward only")
            self._azimuth_screw = REVERSE_AZIMUTH if position == "reverse" else "replay azimuth"
        elif position != "off" and self._facts.noise_reduction == "none":
            raise Problem(f"{self._facts.name} has no noise reduction to switch in")
        else:
            self._compander.switch(position, self._condition.physics)

    def reading_at(self, point: str) -> float:
        """The reading at a test point: "meter left" in dB; "encoder left", "bias right" or "erase both" in mV."""
        where, _, side = point.partition(" ")
        if where == "erase":
            return self._facts.erase_mv
        if where == "bias":
            return self._facts.bias_mv * 10 ** (self._error("bias", side) / 20)
        replays = self._transport_state == "play"
        at_meter = self._at_decoder if replays else self._at_encoder
        sound = {"meter": at_meter, "encoder": self._at_encoder, "decoder": self._at_decoder}[where]
        db = level_db(sound)[SIDES.index(side)]
        if where == "meter":
            return db - self._facts.meter_zero_db
        mv = self._facts.encoder_mv if where == "encoder" else self._facts.decoder_mv
        return float(mv * 10 ** ((db - self._compander.reference_db) / 20))

    def output_to_mark(self) -> None:
        """Turn the output control to its mark."""
        self._trimmers["output control"].to_error(self._condition.physics.output_control_db)

    def turn(self, trimmer: str, degrees: float) -> None:
        """Turn a trimmer, positive clockwise, as far as its end stop."""
        if trimmer not in self._trimmers:
            raise Problem(f"there is no trimmer {trimmer}; there are {', '.join(self._trimmers)}")
        self._trimmers[trimmer].turn(degrees)

    def trimmers(self) -> tuple[TrimmerPosition, ...]:
        """The visible positions of all trimmers."""
        return tuple(t.position for t in self._trimmers.values())

    def truth(self) -> dict[str, float]:
        """The error of each trimmer, for tests and debriefs: dB, minutes of arc, % for speed."""
        errors = {name: trimmer.error for name, trimmer in self._trimmers.items()}
        return errors | {f"bias {side}": self._bias(side) for side in SIDES}

    @property
    def remaining_faults(self) -> tuple[str, ...]:
        """The names of its faults that cleaning or demagnetising has not removed."""
        return self._condition.remaining

    def look(self, part: str) -> str:
        """The look of a part: swab, roller, selector, shell or meters; or of the owner's tape."""
        return look_at(self._condition.physics, self._stock.first.iec_type, self.owners_tape.label, part)

    @property
    def dirt(self) -> tuple[str, ...]:
        """The names of the dirt figures that are not 0."""
        return tuple(key for key in DIRT if getattr(self._condition.physics, key) > 0)

    def process(self, incoming: Floats) -> Floats:
        """The output for an input, both shape (n, 2), full scale ±1, any n."""
        self._pending_input = np.concatenate((self._pending_input, incoming))
        chunks = [self._pending_output]
        while len(self._pending_input) >= CHUNK:
            # Contiguous rows, because sums and transforms of a chunk run along them.
            chunks.append(self._process_chunk(np.ascontiguousarray(self._pending_input[:CHUNK].T)).T)
            self._pending_input = self._pending_input[CHUNK:]
        ready = np.concatenate(chunks)
        self._pending_output = ready[len(incoming) :]
        return ready[: len(incoming)]

    def _error(self, title: str, side: str = "") -> float:
        return self._trimmers[f"{title} {side}".strip()].error

    def _process_chunk(self, sent: Floats) -> Floats:
        physics = self._condition.physics
        for trimmer in self._trimmers.values():
            trimmer.settle(CHUNK / RATE)
        controls = np.array([[self._error("record level control", side)] for side in SIDES])
        source = sent * 10 ** ((controls - self._facts.send_dbfs) / 20)
        running = self._transport_state != "stop" and self._loaded != "none"
        # After the tape stops, the filters still have to decay.
        self._chunks_to_drain = 3 if running else max(0, self._chunks_to_drain - 1)
        self._at_encoder = self._at_decoder = source
        recording = self._transport_state == "record"
        of_source = self._monitor == "source" or (self._facts.heads == 2 and recording)
        to_record = self._compander.encode(source) if recording else source
        out = np.zeros((2, CHUNK))
        if self._chunks_to_drain:
            out = self._replay_side_output(to_record, running, heard=not of_source)
        noise = 10 ** (physics.amplifier_noise_db / 20) / np.sqrt(2) * self._rng.standard_normal((2, CHUNK))
        noise += 10 ** (physics.hum_db / 20) * self._hum.chunk(physics.hum_hz, physics.hum_drift_db)
        if recording:
            noise += self._electronics.bias_leakage(self._chunk, physics.bias_leakage_db)
        if of_source:
            out = source + noise
        else:
            out = out * self._electronics.gain(physics.warm_up_db)
            replayed = with_wiring_faults(out, physics) + noise
            self._at_decoder = replayed
            out = self._compander.decode(replayed)
        self._chunk += 1
        return np.clip(out * 10 ** ((self._facts.replay_dbfs + self._error("output control")) / 20), -1.0, 1.0)

    def _replay_side_output(self, source: Floats, running: bool, *, heard: bool) -> Floats:
        """Output of the replay side, re the reference level; `source` is the input of the record amplifier.

        Unless it is `heard`, it is silence, but random numbers are drawn, so that what is heard later is the same.
        """
        physics = self._condition.physics
        tape = self._current_tape()
        weave = self._seating + self._transport.weave(physics, tape.tape_position(tape.position) / RATE)
        replay = self._error(self._azimuth_screw) + weave
        record = self._error("record azimuth") + weave if self._facts.heads == 3 else replay
        before, self._angles = self._angles, (replay, record)
        flux, spacing = np.zeros((2, CHUNK)), None
        if running:
            positions = self._move_tape(source, before[1])
            self._contact.advance(physics, self._coating().wander.at(tape.tape_position(positions[0])))
            if heard:
                flux, spacing = self._read_tape(positions, before[0])
            passed = tape.tape_position(positions[0]), tape.tape_position(positions[-1])
            tape.partial_erasure.add_pass(*passed, ERASURE_PER_PASS_UM * physics.magnetised)
        else:
            self._set_replay_side(replay)
        hiss = self._rng.standard_normal((2, CHUNK))
        was_running, self._was_running = self._was_running, running
        if not heard:
            return flux
        hiss *= 10 ** (0.3 * physics.magnetised + self._virgin_db / 20)
        if running != was_running:
            fade = np.linspace(float(was_running), float(running), CHUNK)
            flux, hiss = flux * fade, hiss * fade
        elif not running:
            hiss = np.zeros_like(hiss)
        return self._stock_tape.replay_side.run(flux, hiss, spacing)

    def _move_tape(self, source: Floats, record_before: float) -> Floats:
        """Move the tape, record on it if the machine records, and return its positions at the replay head.

        `source` is re the level that should record the reference fluxivity. Azimuth errors at the start of the chunk
        are given, here and in `_read_tape`; at its end they are `_angles`.
        """
        physics = self._condition.physics
        tape = self._current_tape()
        self._transport.position = tape.position
        positions = self._transport.advance(physics, self._error("speed"))
        tape.position = self._transport.position
        if isinstance(tape, RecordableTape):
            if self._transport_state == "record":
                settings = record_settings(self._error, self._bias, physics, self._facts.heads)
                self._stock_tape.record_side.set(*settings)
                flux = self._stock_tape.record_side.run(source, self._rng.standard_normal((2, CHUNK)))
                # A head's angle advances the right channel in recording by as much as it delays it in replay.
                shifts = (-self._right_delay(record_before), -self._right_delay(self._angles[1]))
                kept = 10 ** ((physics.erase_db + self._stock_tape.harder_to_erase_db) / 20)
                tape.record(flux, positions, shifts, self._angles[1], kept)
            positions = positions - self._head_distance
        return positions

    def _read_tape(self, positions: Floats, replay_before: float) -> tuple[Floats, Floats | None]:
        """The flux at the replay head, and the spacing of the tape from it; one position more than samples."""
        physics, replay = self._condition.physics, self._angles[0]
        tape = self._current_tape()
        height, start = physics.replay_height_mm, tape.tape_position(positions[0])
        self._virgin_db, self._erased_um = 0.0, tape.partial_erasure.spacing_um(start)
        if isinstance(tape, RecordableTape):
            self._virgin_db = 0.0 if tape.recorded_at(positions[0]) else VIRGIN_NOISE_DB
            self._set_replay_side(replay - tape.azimuth_at(positions[0]))
            height -= physics.record_height_mm if self._facts.heads == 3 else height
        else:
            self._set_replay_side(replay)
        half = self._right_delay(replay_before) / 2 * (1 - RAMP) + self._right_delay(replay) / 2 * RAMP
        left, right = positions[:-1] + half, positions[:-1] - half
        flux = tape.read(left, right)
        if physics.contour_db > 0:
            flux += self._head_edges.run(tape.read_linear, left, right)
        if self._transport_state == "play" and tape is self._stock_tape.tape:
            flux += self._stock_tape.print_through.run(tape.read_linear, left, right)
        flux = self._contact.run(physics, flux)
        of_tape = self._coating().dropouts.loss_db(start + (positions[:-1] - positions[0]))
        of_machine = self._poor_contact.loss_db(self._chunk * CHUNK + CHUNK_SAMPLES)
        spacing = self._contact.spacing_db(physics, of_tape, of_machine)
        return with_height_error(flux, height, physics.track_width_mm, self._facts.track_spacing_mm), spacing

    def _current_tape(self) -> RecordableTape | ReferenceTape:
        if self._loaded == "reference":
            return self._reference
        return self.owners_tape.playing if self._loaded == "owners" else self._stock_tape.tape

    def _coating(self) -> Coating:
        if self._loaded == "reference":
            return self._reference_coating
        return self._owners_coating if self._loaded == "owners" else self._stock_tape.coating

    def _bias(self, side: str) -> float:
        """Error of a channel's bias, including the load of the other channel on their common oscillator."""
        other = "right" if side == "left" else "left"
        return self._error("bias", side) - self._condition.physics.bias_sharing * self._error("bias", other)

    def _right_delay(self, azimuth_arcmin: float) -> float:
        """Delay of the right channel at an azimuth error, samples on the tape."""
        microseconds = delay_us(azimuth_arcmin, self._facts.track_spacing_mm, self._facts.speed_mm_s)
        return float(microseconds) * 1e-6 * RATE

    def _set_replay_side(self, azimuth_arcmin: float) -> None:
        physics = self._condition.physics
        # The loss hardly changes within this step, so the filter need not be redesigned for every small movement. The
        # delay is exact nevertheless, because it is in the positions.
        if abs(azimuth_arcmin - self._azimuth_filtered) > AZIMUTH_STEP_ARCMIN:
            self._azimuth_filtered = azimuth_arcmin
        settings = replay_settings(self._error, physics, self._facts.equalisation_us[0], self._erased_um)
        self._stock_tape.replay_side.set(physics, self._azimuth_filtered, *settings)

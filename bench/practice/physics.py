"""The figures of a practice machine and of a work tape, and how a sheet's table sets them."""

from __future__ import annotations

import dataclasses
import difflib
from dataclasses import dataclass
from typing import TypeVar

from bench.practice.facts import FaultFacts, MachineFacts, Table, TapeFacts
from bench.problem import Problem


@dataclass(frozen=True, slots=True)
class MachinePhysics:
    """What a machine is like. Errors are 0 when it is right; left and right are channels."""

    # Heads
    track_width_mm: float = 0.6
    replay_gap_um: float = 1.2
    replay_gap_made_good_um: float = 1.2
    """The gap whose loss the replay amplifier makes good."""
    head_distance_mm: float = 4.0
    """From record gap to replay gap (three heads)."""
    recording_zone_um: float = 1.2
    """Length of the zone in which the record head leaves its recording, at the right bias."""
    replay_dirt_left_um: float = 0.0
    replay_dirt_right_um: float = 0.0
    record_dirt_left_um: float = 0.0
    record_dirt_right_um: float = 0.0
    """On three heads only: two heads record and replay with the same one."""
    magnetised: float = 0.0
    """Remanence of heads and guides, 0 (none) to 1 (badly)."""
    crosstalk_db: float = -45.0
    """Of the other channel."""
    erase_db: float = -72.0
    """What is left of an old recording."""
    replay_height_mm: float = 0.0
    """How far its tracks lie beside those of a reference tape."""
    record_height_mm: float = 0.0
    contour_mm: float = 4.0
    """From gap to the edges of the replay head's face, which hear long wavelengths too."""
    contour_db: float = 0.0
    """The most that they can lift."""
    dropouts_per_minute: float = 0.0
    """From poor contact."""

    # Electronics
    hum_db: float = -72.0
    """Mains hum, re the reference level."""
    hum_hz: float = 50.0
    amplifier_noise_db: float = -72.0
    """22.4 Hz to 22.4 kHz, re the reference level."""
    replay_t1_us: float = 0.0
    """Time constant at which the replay equalisation stands; 0: that of the machine."""
    swapped_channels: bool = False
    inverted_channel: str = "none"
    """none, left or right."""
    dead_channel: str = "none"
    encoder_side_db: float = 0.0
    """Of the noise-reduction circuits: how much too much their side path adds and takes off."""
    decoder_side_db: float = 0.0
    other_tape: str = "none"
    """A tape of this type is in it instead of the work tape; none: the work tape."""
    auto_reverse: bool = False
    """Whether the tape also runs the other way, past a head whose azimuth has a screw of its own for that."""
    tape_selector: str = "I"
    """The tape type for which bias and record equalisation are switched: I, II, IV or open reel."""

    # Transport
    capstan_mm: float = 2.2
    """Diameters: each turns at its own rate."""
    pinch_roller_mm: float = 13.0
    reel_mm: float = 36.0
    flywheel_mm: float = 60.0
    """On the capstan's shaft; the belt runs over it."""
    belt_mm: float = 250.0
    """Length of the belt."""
    flutter_capstan_percent: float = 0.03
    """Peak."""
    flutter_pinch_roller_percent: float = 0.03
    flutter_reel_percent: float = 0.03
    flutter_belt_percent: float = 0.0
    flutter_random_percent: float = 0.02
    """Peak of a bundle of irregular components, 8 to 60 Hz."""
    speed_wander_percent: float = 0.0
    """Slow, over most of a minute, peak."""
    azimuth_weave_arcmin: float = 0.1
    """How far the tape's path wanders, peak."""

    # What trimmers set right
    replay_level_left_db: float = 0.0
    replay_level_right_db: float = 0.0
    replay_equalisation_left_db: float = 0.0
    """Of the high-frequency end: 20 lg of the time constant's ratio."""
    replay_equalisation_right_db: float = 0.0
    replay_azimuth_arcmin: float = 0.0
    record_azimuth_arcmin: float = 0.0
    speed_percent: float = 0.0
    bias_left_db: float = 0.0
    bias_right_db: float = 0.0
    record_level_left_db: float = 0.0
    record_level_right_db: float = 0.0
    record_equalisation_left_db: float = 0.0
    """At 12.5 kHz."""
    record_equalisation_right_db: float = 0.0
    trimmer_settling_s: float = 0.0
    """Time constant with which a turned trimmer comes to rest."""


@dataclass(frozen=True, slots=True)
class TapePhysics:
    """What a work tape is like."""

    sensitivity_db: float = 0.0
    """At long wavelengths, re the tape the machine was made for."""
    treble_db: float = 0.0
    """At 10 kHz, re the same and beside `sensitivity_db`."""
    bias_db: float = 0.0
    """The bias it wants, re what is usual for its type."""
    mol_db: float = 4.5
    """Third harmonic 3 % at the reference frequency and the right bias. Levels of tapes are re 250 nWb/m (DIN) for
    cassettes and 320 nWb/m (DIN) for open reel, as data sheets give them."""
    noise_db: float = -53.0
    """22.4 Hz to 22.4 kHz behind the right equalisation."""
    modulation_noise_db: float = -55.0
    """Beside a tone at the right bias, re the tone."""
    print_db: float = -60.0
    """Of the neighbouring layers of a wound tape."""
    dropouts_per_minute: float = 0.0
    """Flaws of the coating."""


TAPE_TYPES = ("I", "II", "IV", "open reel")

CHOICES = {
    "tape_selector": TAPE_TYPES,
    "other_tape": ("none", *TAPE_TYPES),
    "inverted_channel": ("none", "left", "right"),
    "dead_channel": ("none", "left", "right"),
}

DIRT = tuple(f.name for f in dataclasses.fields(MachinePhysics) if "_dirt_" in f.name)

P = TypeVar("P", MachinePhysics, TapePhysics)


def _set(physics: P, table: Table, where: str) -> P:
    """The figures with those that a table sets. Raises `Problem` for what it can't hold."""
    known = {f.name: f for f in dataclasses.fields(physics)}
    values: dict[str, float | str | bool] = {}
    for key, value in table.items():
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            hint = f"; did you mean {near[0]}?" if near else f"; it may be one of {', '.join(sorted(known))}"
            raise Problem(f"{where}: practice.{key} is nothing the practice machine knows{hint}")
        wanted = type(getattr(physics, key))
        if wanted is float and isinstance(value, (int, float)) and not isinstance(value, bool):
            values[key] = float(value)
        elif isinstance(value, wanted):
            values[key] = value
        else:
            words = {float: "a number", str: "words in quotes", bool: "true or false"}[wanted]
            raise Problem(f"{where}: practice.{key} must be {words}, not {value!r}")
    for key, choices in CHOICES.items():
        if key in values and values[key] not in choices:
            raise Problem(f"{where}: practice.{key} must be one of {', '.join(choices)}")
    return dataclasses.replace(physics, **values)  # type: ignore[arg-type]


def machine_physics(machine: MachineFacts) -> MachinePhysics:
    """The machine's figures by its sheet."""
    physics = _set(MachinePhysics(), machine.practice, machine.name)
    if machine.heads == 2:
        _refuse_record_head(machine.practice, machine.name)
    return physics


def tape_physics(tape: TapeFacts) -> TapePhysics:
    """The tape's figures by its sheet."""
    return _set(TapePhysics(), tape.practice, tape.name)


def _refuse_record_head(table: Table, where: str) -> None:
    for key in table:
        if key.startswith(("record_dirt", "record_azimuth", "record_height", "head_distance")):
            raise Problem(f"{where}: practice.{key} needs three heads; on two the replay head records too")


class Condition:
    """A machine's figures as they are now: its sheet's, the faults it has, and what was mended."""

    def __init__(self, machine: MachineFacts, faults: tuple[FaultFacts, ...]) -> None:
        self._sheet = machine_physics(machine)
        self._faults = list(faults)
        seen: dict[str, str] = {}
        for fault in faults:
            _set(self._sheet, fault.changes, fault.name)
            if machine.heads == 2:
                _refuse_record_head(fault.changes, fault.name)
            for key in fault.changes:
                if key in seen:
                    raise Problem(f"{fault.name} and {seen[key]} both change practice.{key}: choose one of them")
                seen[key] = fault.name
        self.now = self._with_faults()

    @property
    def standing(self) -> tuple[str, ...]:
        """The names of the faults that were not mended."""
        return tuple(f.name for f in self._faults)

    def _with_faults(self) -> MachinePhysics:
        physics = self._sheet
        for fault in self._faults:
            physics = _set(physics, fault.changes, fault.name)
        return physics

    def _mend(self, act: str, clears: tuple[str, ...]) -> None:
        self._sheet = dataclasses.replace(self._sheet, **dict.fromkeys(clears, 0.0))  # type: ignore[arg-type]
        self._faults = [f for f in self._faults if act not in f.mended_by]
        self.now = self._with_faults()

    def clean(self) -> None:
        """Dirt is gone, and every fault that cleaning mends."""
        self._mend("clean", DIRT)

    def demagnetise(self) -> None:
        """Remanence is gone, and every fault that demagnetising mends."""
        self._mend("demagnetise", ("magnetised",))

"""The physical figures of a practice machine and of a tape, and their values from a sheet's table."""

from __future__ import annotations

import dataclasses
import difflib
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from bench.practice.facts import FaultFacts, MachineFacts, Table, TapeFacts
from bench.practice.roughness.grades import GRADES, TAPE_WEAR, grade_figures
from bench.problem import Problem

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


@dataclass(frozen=True, slots=True)
class MachinePhysics:
    """Physical figures of a machine. Errors are 0 on a correct machine; left and right are channels."""

    grade: str = "none"
    """Roughness of machine and tape: studio, good, average, poor, or none. It gives the figures that are not set."""
    tape_wear: str = "usual"
    """Wear of the coating: fresh, usual or worn."""

    # Heads
    track_width_mm: float = 0.6
    replay_gap_um: float = 1.2
    replay_gap_made_good_um: float = 1.2
    """The gap length whose loss the replay amplifier compensates."""
    head_distance_mm: float = 4.0
    """From record gap to replay gap (three heads)."""
    recording_zone_um: float = 1.2
    """Length of the zone behind the record gap in which the recording forms, at the correct bias."""
    replay_dirt_left_um: float = 0.0
    replay_dirt_right_um: float = 0.0
    record_dirt_left_um: float = 0.0
    record_dirt_right_um: float = 0.0
    """Three heads only: a two-head machine records and replays with the same head."""
    magnetised: float = 0.0
    """Remanence of heads and guides, from 0 (none) to 1 (badly magnetised)."""
    crosstalk_db: float = -45.0
    """Crosstalk from the other channel at medium frequencies; it rises at long wavelengths and at high frequencies."""
    erase_db: float = -72.0
    """Residual level of an old recording."""
    replay_height_mm: float = 0.0
    """Height error of the replay head, re the tracks of a reference tape."""
    record_height_mm: float = 0.0
    contour_mm: float = 4.0
    """Distance from the gap to the edges of the replay head's face, which read long wavelengths (contour effect)."""
    contour_db: float = 0.0
    """Largest rise from the contour effect."""
    dropouts_per_minute: float = 0.0
    """Dropouts caused by poor contact."""
    tape_dropouts_per_minute: float = 0.0
    """Dropouts caused by flaws in the coating of any tape."""
    level_wander_db: float = 0.0
    """Wander of level from 0.2 to 10 Hz, rms, at all signal frequencies."""
    contact_wander_db: float = 0.0
    """Additional wander of level at 10 kHz, rms, due to spacing; in dB it is proportional to frequency."""
    slow_wander_db: float = 0.0
    """Wander of level along the tape from 0.01 to 0.2 Hz, rms."""
    replay_modulation_noise_db: float = -150.0
    """Modulation noise of any tape, re the tone."""
    shell_seating_arcmin: float = 0.0
    """Standard deviation of azimuth between insertions of a cassette."""

    # Electronics
    hum_db: float = -72.0
    """Mains hum, re the reference level."""
    hum_hz: float = 50.0
    hum_drift_db: float = 0.0
    """Drift of its level; its frequency then drifts too."""
    warm_up_db: float = 0.0
    """Drift in level of each channel over the first hour; less later."""
    bias_sharing: float = 0.0
    """Fall of a channel's bias in dB per dB rise of the other channel's, because they share an oscillator."""
    bias_leakage_db: float = -150.0
    """Residual bias at the output during recording, re the reference level."""
    amplifier_noise_db: float = -72.0
    """Noise from 22.4 Hz to 22.4 kHz, re the reference level."""
    replay_t1_us: float = 0.0
    """Time constant to which replay equalisation is set; 0: that of the machine."""
    swapped_channels: bool = False
    inverted_channel: str = "none"
    """none, left or right."""
    dead_channel: str = "none"
    encoder_side_db: float = 0.0
    """Gain errors of the side paths of the noise-reduction circuits."""
    encoder_level_db: float = 0.0
    decoder_level_db: float = 0.0
    """Level error of each circuit; positive if it treats its input as higher than it is."""
    decoder_side_db: float = 0.0
    other_tape: str = "none"
    """Type of a tape that is loaded instead of the tape in use; none for the tape in use."""
    auto_reverse: bool = False
    """Whether the tape also runs in reverse, with a separate azimuth screw for that direction."""
    tape_selector: str = "I"
    """The tape type to which bias and record equalisation are switched: I, II, IV or open reel."""

    # Transport
    capstan_mm: float = 2.2
    """Diameters of rotating parts; each causes flutter at its own rate."""
    pinch_roller_mm: float = 13.0
    reel_mm: float = 36.0
    flywheel_mm: float = 60.0
    """Diameter of the flywheel on the capstan shaft, which the belt drives."""
    belt_mm: float = 250.0
    """Length of the belt."""
    flutter_capstan_percent: float = 0.03
    """Peak."""
    flutter_pinch_roller_percent: float = 0.03
    flutter_reel_percent: float = 0.03
    flutter_belt_percent: float = 0.0
    flutter_random_percent: float = 0.02
    """Total peak of irregular components from 8 to 60 Hz."""
    speed_wander_percent: float = 0.0
    """Slow speed variation over most of a minute, peak."""
    flutter_continuum_percent: float = 0.0
    """Continuum of about 1/f from 0.3 to 250 Hz, rms; with it the flutter of the parts fluctuates in depth and rate."""
    flutter_scrape_percent: float = 0.0
    """Scrape flutter, rms."""
    speed_drift_percent: float = 0.0
    """Irregular drift of speed below 0.3 Hz, rms."""
    azimuth_weave_arcmin: float = 0.04
    """Movement of the tape path, rms; up to twice as large over the first ten seconds of a tape."""

    # Corrected by trimmers
    replay_level_left_db: float = 0.0
    replay_level_right_db: float = 0.0
    replay_equalisation_left_db: float = 0.0
    """At high frequencies: 20 lg of the ratio of time constants."""
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
    record_control_left_db: float = 0.0
    """Error of the record level control, ahead of the encoder, re the encoder's reference level."""
    record_control_right_db: float = 0.0
    output_control_db: float = 0.0
    """Error of the mark of the output control, after the decoder."""
    trimmer_settling_s: float = 0.0
    """Time constant with which a trimmer settles after a turn."""


@dataclass(frozen=True, slots=True)
class TapePhysics:
    """Physical figures of a tape."""

    sensitivity_db: float = 0.0
    """Sensitivity at long wavelengths, re the tape for which the machine was designed."""
    treble_db: float = 0.0
    """Difference at 10 kHz, re that tape, in addition to `sensitivity_db`."""
    bias_db: float = 0.0
    """Correct bias, re the usual bias of its type."""
    mol_db: float = 4.5
    """Maximum output level: 3 % third harmonic at the reference frequency and the correct bias. Tape levels are re
    250 nWb/m (DIN) for cassettes and 320 nWb/m (DIN) for open reel, as in data sheets."""
    noise_db: float = -53.0
    """Noise from 22.4 Hz to 22.4 kHz, with the correct equalisation."""
    modulation_noise_db: float = -55.0
    """Modulation noise of a tone at the correct bias, re the tone."""
    print_db: float = -60.0
    """Print-through from the adjacent layers on the reel, at 1 kHz."""
    dropouts_per_minute: float = 0.0
    """Dropouts caused by flaws in the coating."""


TAPE_TYPES = ("I", "II", "IV", "open reel")

CHOICES = {
    "grade": tuple(GRADES),
    "tape_wear": tuple(TAPE_WEAR),
    "tape_selector": TAPE_TYPES,
    "other_tape": ("none", *TAPE_TYPES),
    "inverted_channel": ("none", "left", "right"),
    "dead_channel": ("none", "left", "right"),
}

DIRT = tuple(f.name for f in dataclasses.fields(MachinePhysics) if "_dirt_" in f.name)

P = TypeVar("P", bound="DataclassInstance")


def with_values(physics: P, table: Table, where: str, model: str = "practice machine") -> P:
    """The figures of a model with those that a table sets. Raises `Problem` for an unknown key or a wrong value."""
    known = {f.name: f for f in dataclasses.fields(physics)}
    values: dict[str, float | str | bool] = {}
    for key, value in table.items():
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            hint = f"; did you mean {near[0]}?" if near else f"; it may be one of {', '.join(sorted(known))}"
            raise Problem(f"{where}: practice.{key} is nothing the {model} knows{hint}")
        wanted = type(getattr(physics, key))
        most = _largest(key)
        if isinstance(value, int | float) and abs(value) > most:
            raise Problem(f"{where}: practice.{key} is at most {most:g}, not {value!r:.20}")
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
    return dataclasses.replace(physics, **values)


LARGEST: dict[str, float] = {
    "percent": 50.0,
    "db": 200.0,
    "um": 1e4,
    "mm": 1e4,
    "hz": 1e5,
    "us": 1e5,
    "arcmin": 600.0,
    "minute": 1e3,
    "s": 600.0,
}
"""The largest plausible figure of a machine or a tape, by the unit at the end of its name."""


def _largest(key: str) -> float:
    return LARGEST.get(key.rpartition("_")[2], 1e6)


def machine_physics(machine: MachineFacts) -> MachinePhysics:
    """The machine's figures from its sheet."""
    physics = _with_grade(machine.practice, machine.name)
    if machine.heads == 2:
        _refuse_record_head_keys(machine.practice, machine.name)
    return physics


def _with_grade(table: Table, where: str) -> MachinePhysics:
    """A machine's figures from its table, and for the rest from its grade."""
    chosen = with_values(MachinePhysics(), table, where)
    rough = with_values(MachinePhysics(), grade_figures(chosen.grade, chosen.tape_wear), where)
    return with_values(rough, table, where)


def tape_physics(tape: TapeFacts) -> TapePhysics:
    """The tape's figures from its sheet."""
    return with_values(TapePhysics(), tape.practice, tape.name)


def _refuse_record_head_keys(table: Table, where: str) -> None:
    for key in table:
        if key.startswith(("record_dirt", "record_azimuth", "record_height", "head_distance")):
            raise Problem(f"{where}: practice.{key} needs three heads; on two the replay head records too")


class MachineCondition:
    """A machine's present figures: those of its sheet, with its faults and repairs."""

    def __init__(self, machine: MachineFacts, faults: tuple[FaultFacts, ...]) -> None:
        machine_physics(machine)
        self._name, self._sheet = machine.name, dict(machine.practice)
        self._faults = list(faults)
        seen: dict[str, str] = {}
        for fault in faults:
            with_values(MachinePhysics(), fault.changes, fault.name)
            if machine.heads == 2:
                _refuse_record_head_keys(fault.changes, fault.name)
            for key in fault.changes:
                if key in seen:
                    raise Problem(f"{fault.name} and {seen[key]} both change practice.{key}: choose one of them")
                seen[key] = fault.name
        self.physics = self._with_faults()

    @property
    def remaining(self) -> tuple[str, ...]:
        """The names of the faults that have not been repaired."""
        return tuple(f.name for f in self._faults)

    def _with_faults(self) -> MachinePhysics:
        table = dict(self._sheet)
        for fault in self._faults:
            table |= fault.changes
        return _with_grade(table, self._name)

    def _remedy(self, act: str, clears: tuple[str, ...]) -> None:
        self._sheet |= dict.fromkeys(clears, 0.0)
        self._faults = [f for f in self._faults if act not in f.mended_by]
        self.physics = self._with_faults()

    def clean(self) -> None:
        """Remove all dirt, and every fault that cleaning repairs."""
        self._remedy("clean", DIRT)

    def demagnetise(self) -> None:
        """Remove all remanence, and every fault that demagnetising repairs."""
        self._remedy("demagnetise", ("magnetised",))

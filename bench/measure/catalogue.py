"""The one table of quantities, units and meters: everything that the program knows about each.

Imports nothing heavy, so that files are checked and the first screen is drawn before any meter is loaded.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Unit:
    """How figures in a unit are written."""

    decimals: int = 2
    """Decimals of a stored figure that has no uncertainty."""
    live_decimals: int = 1
    """The fewest decimals of a live figure."""
    of_a_difference: str = ""
    """The unit of the difference of two figures, where it is a different one."""
    heading: str = ""
    """A column's heading, where that is not the unit itself."""
    finest: float = 1e-5
    """The smallest uncertainty that is written, and the last place of any: no instrument of the trade shows more."""


UNITS: dict[str, Unit] = {
    "dB": Unit(finest=0.01),
    "dBFS": Unit(of_a_difference="dB", finest=0.01),
    "%": Unit(decimals=3),
    "µs": Unit(live_decimals=0),
    "arcmin": Unit(),
    "degrees": Unit(decimals=1, live_decimals=0),
    "1": Unit(decimals=0, live_decimals=0, heading="count"),
    "per minute": Unit(decimals=1),
    "ms": Unit(live_decimals=0),
    "V": Unit(),
    "ppm": Unit(),
}
"""Units by symbol; "1" is the unit of a count."""

WEIGHTED_PEAK, TWO_SIGMA = "IEC 60386 weighted quasi-peak", "IEC 60386 weighted two-sigma"
WEIGHTED_RMS, UNWEIGHTED_RMS, UNWEIGHTED_PEAK = "weighted rms", "unweighted rms", "unweighted quasi-peak"
FLUTTER_METHODS = (WEIGHTED_PEAK, TWO_SIGMA, WEIGHTED_RMS, UNWEIGHTED_RMS, UNWEIGHTED_PEAK)

A_WEIGHTED, UNWEIGHTED_BAND = "A-weighted rms", "unweighted rms 22.4 Hz-22.4 kHz"
BS468_QUASI_PEAK, AVERAGE_2K = "ITU-R BS.468 weighted quasi-peak", "2 kHz average-responding"
NOISE_METHODS = (A_WEIGHTED, UNWEIGHTED_BAND, BS468_QUASI_PEAK, AVERAGE_2K)

HUM_TOTAL, HUM_LINE = "total of mains frequency and harmonics", "line at"
OF_FUNDAMENTAL, OF_TOTAL = "of the fundamental", "of the total signal"

FULL_SCALE = "full-scale sine (AES17)"
REFERENCE_LEVEL = "the machine's reference level"
LEFT = "left channel"


@dataclass(frozen=True, slots=True)
class RisingTone:
    """The rising tone with which a maximum level is found."""

    hz: float
    """Its frequency, where a step names none."""
    from_db: float
    """Its starting level, re the machine's reference level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """The facts of one quantity."""

    title: str
    """Its name, written as a heading."""
    unit: str
    """A key of `UNITS`."""
    meter: str = ""
    """The meter that measures it, a key of `METERS`; "" where it is derived from other readings."""
    of_programme: str = ""
    """The meter that measures it from music or speech; "" where that takes tones."""
    step: Literal["measure", "adjust", "interface", ""] = "measure"
    """The kind of step that may name it: `adjust` or `interface` where a `measure` step cannot, "" where none can."""
    methods: tuple[str, ...] = ()
    """The methods that distinguish its readings, as its meter names them; empty if there is only one."""
    usual_method: str = ""
    """The method that is judged where a step names none. If several methods have no usual one, a step must name one."""
    bound: Literal["at least", "at most"] | None = None
    """What a reading can still claim where noise masks it or the signal ends too early; None for nothing."""
    relative_to: str = ""
    """The reference of its values, where that is always the same; otherwise each reading has its own."""
    frequency: Literal["asked", "found"] = "asked"
    """`found`: the frequency of a reading is where the worst value lay, so two visits compare even if it differs."""
    event: bool = False
    """A reading is of a single event, which has no counterpart at another visit."""
    judged: Literal["each", "largest"] = "each"
    """Which of many readings on a channel are judged."""
    both_passes: bool = False
    """Measured on a machine's own recording, it includes both recording and replay."""
    kept_beside: str = ""
    """Another quantity of the same meter, stored with it but not judged."""
    drawn: Literal["row", "curve", "lines"] = "row"
    """In a report: a table row; a curve over frequency, if there are several tones; or a line for each reading."""
    rising: RisingTone | None = None
    """The rising tone with which it is measured, if any."""
    live: str = ""
    """Its name on a gauge, where that is not its title."""
    live_window_s: float = 0.5
    """Averaging time of a live figure, seconds: flutter makes speed fluctuate, and weave azimuth."""


QUANTITIES: dict[str, Quantity] = {
    "level": Quantity(title="Level", unit="dBFS", meter="level", relative_to=FULL_SCALE, drawn="curve"),
    "balance": Quantity(title="Balance", unit="dB", meter="level", relative_to="right channel"),
    "response": Quantity(title="Response", unit="dB", meter="response", drawn="curve"),
    "azimuth_delay": Quantity(
        title="Azimuth, delay",
        unit="µs",
        meter="azimuth",
        of_programme="programme_azimuth",
        relative_to=LEFT,
        live="delay, right after left",
        live_window_s=1.0,
    ),
    "azimuth_angle": Quantity(title="Azimuth, angle", unit="arcmin", meter="azimuth", relative_to=LEFT),
    "azimuth_phase": Quantity(title="Azimuth, phase", unit="degrees", meter="azimuth", relative_to=LEFT),
    "azimuth_weave": Quantity(title="Azimuth weave", unit="µs", meter="azimuth", relative_to=LEFT, both_passes=True),
    "speed_error": Quantity(
        title="Speed error", unit="%", meter="speed", of_programme="programme_speed", live_window_s=2.0
    ),
    "speed_drift": Quantity(title="Speed drift", unit="%", meter="speed"),
    # Flutter methods differ by a factor of two or more (IEC 60386), noise methods by 10 dB, so none is the usual one.
    "wow_and_flutter": Quantity(
        title="Wow and flutter",
        unit="%",
        meter="flutter",
        methods=FLUTTER_METHODS,
        both_passes=True,
        kept_beside="flutter_component",
    ),
    "flutter_component": Quantity(
        title="Flutter component",
        unit="%",
        meter="flutter",
        relative_to="mean carrier",
        event=True,
        judged="largest",
        both_passes=True,
        drawn="lines",
    ),
    "noise": Quantity(
        title="Noise", unit="dBFS", meter="noise", methods=NOISE_METHODS, bound="at most", relative_to=FULL_SCALE
    ),
    "signal_to_noise": Quantity(
        title="Signal to noise", unit="dB", meter="noise", methods=NOISE_METHODS, relative_to=REFERENCE_LEVEL
    ),
    "hum": Quantity(
        title="Hum",
        unit="dBFS",
        meter="noise",
        methods=(HUM_TOTAL, HUM_LINE),
        usual_method=HUM_TOTAL,
        bound="at most",
        relative_to=FULL_SCALE,
        frequency="found",
    ),
    "third_harmonic": Quantity(
        title="Third harmonic", unit="%", meter="distortion", methods=(OF_FUNDAMENTAL,), bound="at most"
    ),
    "second_harmonic": Quantity(
        title="Second harmonic", unit="%", meter="distortion", methods=(OF_FUNDAMENTAL,), bound="at most"
    ),
    "thd": Quantity(
        title="Harmonic distortion",
        unit="%",
        meter="distortion",
        methods=(OF_FUNDAMENTAL, OF_TOTAL),
        usual_method=OF_FUNDAMENTAL,
        bound="at most",
    ),
    # 315 Hz on cassette and slow reel (IEC 60094, data sheets); the step that sends the tone says what fast reel uses.
    "maximum_output_level": Quantity(
        title="Maximum output level",
        unit="dB",
        meter="headroom",
        bound="at least",
        relative_to=REFERENCE_LEVEL,
        rising=RisingTone(315.0, -8.0),
    ),
    "saturated_output_level": Quantity(
        title="Saturated output level",
        unit="dB",
        meter="headroom",
        bound="at least",
        relative_to=REFERENCE_LEVEL,
        rising=RisingTone(10000.0, -20.0),
    ),
    "separation": Quantity(title="Separation", unit="dB", meter="separation", bound="at least"),
    "erasure": Quantity(title="Erasure", unit="dB", meter="erasure", bound="at least"),
    "polarity": Quantity(title="Polarity", unit="degrees", step="", relative_to=LEFT),
    "mono_sum": Quantity(
        title="Mono sum", unit="dB", meter="mono_sum", bound="at most", relative_to="channels in step"
    ),
    "dropout_count": Quantity(title="Dropouts", unit="1", meter="dropouts"),
    "dropout_rate": Quantity(title="Dropout rate", unit="per minute", meter="dropouts"),
    "dropout_depth": Quantity(
        title="Dropout depth",
        unit="dB",
        meter="dropouts",
        bound="at least",
        relative_to="running level",
        event=True,
        judged="largest",
    ),
    "dropout_length": Quantity(title="Dropout length", unit="ms", meter="dropouts", event=True, judged="largest"),
    "source_level": Quantity(title="Source level at the output", unit="dB", meter="level", live="source"),
    "compression": Quantity(title="Compression at reference level", unit="dB", step=""),
    "record_replay_level": Quantity(title="Record-to-replay level", unit="dB", meter="level", drawn="curve"),
    "overbias": Quantity(title="Over-bias", unit="dB", step="adjust"),
    "tape_level": Quantity(title="Level of the tape's tone", unit="dB", meter="level", live="level re its label"),
    "treble_fall": Quantity(
        title="Treble of the programme", unit="dB", meter="programme_treble", of_programme="programme_treble"
    ),
    "heard_error": Quantity(title="Heard with noise reduction", unit="dB", step="", frequency="found"),
    "mistracking": Quantity(title="Mistracking", unit="dB", frequency="found"),
    "encoding_error": Quantity(title="Encoding error", unit="dB"),
    "decoding_error": Quantity(title="Decoding error", unit="dB"),
    "linearity": Quantity(title="Linearity", unit="dB", step="interface"),
    "full_scale_output": Quantity(
        title="Full scale, output", unit="V", step="interface", relative_to="full-scale sine (AES17), volts rms"
    ),
    "full_scale_input": Quantity(
        title="Full scale, input", unit="V", step="interface", relative_to="full-scale sine (AES17), volts rms"
    ),
    "clock_error": Quantity(title="Clock error", unit="ppm", step="interface"),
}
"""Every quantity that a reading can hold, in the order in which a report lists them."""

CURVES = ("response", "record_replay_level", "level")
"""The quantities drawn as curves; a step's tones are drawn as the first of these that was measured."""

METERS: dict[str, str] = {
    "level": "bench.measure.quantities.level:LevelMeter",
    "response": "bench.measure.quantities.response:ResponseMeter",
    "azimuth": "bench.measure.quantities.azimuth:AzimuthMeter",
    "programme_azimuth": "bench.measure.quantities.programme.azimuth:ProgrammeMeter",
    "programme_speed": "bench.measure.quantities.programme.speed:ProgrammeSpeedMeter",
    "programme_treble": "bench.measure.quantities.programme.treble:ProgrammeTrebleMeter",
    "speed": "bench.measure.quantities.speed:SpeedMeter",
    "flutter": "bench.measure.quantities.flutter:FlutterMeter",
    "noise": "bench.measure.quantities.noise:NoiseMeter",
    "distortion": "bench.measure.quantities.distortion:DistortionMeter",
    "headroom": "bench.measure.quantities.headroom:HeadroomMeter",
    "separation": "bench.measure.quantities.separation:SeparationMeter",
    "erasure": "bench.measure.quantities.erasure:ErasureMeter",
    "mono_sum": "bench.measure.quantities.mono_sum:MonoSumMeter",
    "dropouts": "bench.measure.quantities.dropouts:DropoutMeter",
    "everything": "bench.measure.quantities.everything:EverythingMeter",
}
"""Module and class of each meter, constructed with (sample_rate, channels, options). `measure` uses these names."""

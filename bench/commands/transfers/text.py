"""The result of `decode` and `encode`, as facts, as JSON and in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from bench import __version__
from bench.commands.transfers.before_after import spectrum_lines
from bench.commands.transfers.options import ChosenErrors
from bench.figures import hertz, number
from bench.tape.mistracking_map import REFERENCE_LEVELS, SYSTEM_NAMES
from bench.transfer.errors import STRETCH_S
from bench.transfer.findings import Finding
from bench.transfer.uncertainty import AT_DB, AT_HZ, Uncertainty
from bench.words.figures import decibels, figure, plus_minus, with_uncertainty
from bench.words.sentences import counted

if TYPE_CHECKING:
    from bench.measure.reading import Channel
    from bench.transfer.errors import AzimuthCourse, TransferErrors
    from bench.transfer.transfer import Transfer

MOST_LINES = 20
"""Maximum number of printed points of an azimuth delay that varies along the tape; the JSON has all."""
NOTHING_DB = 120.0
"""A channel that is softer by more than this is digital silence."""
ASKED = "whether it was decoded already does not show in it: was noise reduction out at the transfer?"
NO_UNCERTAINTY = "the uncertainty of the errors is not known"
ENCODER = (
    "steady tones, by the static law of the decoder; the encoder is taken to be right (data sheet: ±1.5 dB), and what "
    "the tape compressed is not in it"
)


@dataclass(frozen=True, slots=True)
class Done:
    """A transfer that was decoded, or a file that was encoded."""

    decoded: bool
    file: str
    out: str
    text: str
    channels: tuple[Channel, ...]
    duration_s: float
    transfer: Transfer
    chosen: ChosenErrors
    turned_down_db: float
    """How far the output was turned down so that nothing clips."""
    uncertainties: tuple[tuple[Uncertainty, ...] | None, ...]
    """Uncertainties of each channel."""
    findings: tuple[Finding, ...]
    heard_hiss: bool
    """Whether there was hiss that shows if the capture has already been decoded."""
    warnings: tuple[str, ...]
    """Warnings about the file that was read."""
    spectra: tuple[dict[float, float], dict[float, float]] | None
    """Average spectra in third octaves, as transferred and as decoded, dBFS."""
    passages: tuple[str, ...]
    """Files with a passage before and after."""

    @property
    def out_reference_dbfs(self) -> float:
        """Level in the output file of 0 dB of the noise-reduction system, dBFS."""
        return self.transfer.reference_dbfs - self.turned_down_db


def cautions(done: Done) -> list[str]:
    """What a person must know, one sentence each."""
    out = [*done.warnings, *(finding_words(f) for f in done.findings)]
    if not done.chosen.azimuth_known:
        which = "for this side alone" if done.chosen.of_tape else f"of the recording{_stage(done)}"
        out.append(
            f"{done.chosen.session} has no azimuth {which}, so none was taken off; --azimuth-delay programme reads it "
            "from the capture"
        )
    if not done.chosen.speed_known:
        out.append(f"{done.chosen.session} has no speed{_stage(done)}, so none was taken off")
    return out


def finding_words(finding: Finding) -> str:
    """A finding about a capture, in words."""
    side = finding.channel if finding.channel in ("left", "right") else "only"
    value = finding.value
    if finding.kind == "clipped":
        places = counted(round(value), "place")
        return f"the {side} channel is clipped in {places}; transfer it again with the input turned down"
    if finding.kind == "dead channel":
        soft = "holds nothing" if value > NOTHING_DB else f"is {value:.0f} dB softer than the other"
        return f"the {side} channel {soft}: it is dead, or was not recorded"
    if finding.kind == "inverted channel":
        return f"the channels have opposite polarity (correlation {number(value, 2)}); exchange the leads of one"
    return (
        f"its hiss falls by {value:.1f} dB from 400 Hz to 2.5 kHz, as decoded hiss does: it was probably decoded "
        "already; transfer it with noise reduction out"
    )


def as_json(done: Done) -> dict[str, Any]:
    """The result as JSON."""
    errors = done.transfer.errors
    return {
        "file": done.file,
        "out": done.out,
        "text": done.text,
        "does": "decode" if done.decoded else "encode",
        "system": done.transfer.system,
        "sample_rate": done.transfer.rate,
        "channels": list(done.channels),
        "duration_s": done.duration_s,
        "reference": REFERENCE_LEVELS[done.transfer.system],
        "reference_level_dbfs": done.transfer.reference_dbfs,
        "out_reference_level_dbfs": done.out_reference_dbfs,
        "session": done.chosen.session or None,
        "stage": done.chosen.stage or None,
        "replayed_on": done.chosen.replayed_on or None,
        "errors": [
            {
                "channel": channel,
                "level_error_db": c.errors.level_db,
                "treble_error_db": [{"frequency_hz": hz, "db": db} for hz, db in c.errors.treble],
                "uncertainty_db": None
                if c.uncertainty_db is None
                else [{"frequency_hz": hz, "db": db} for hz, db in sorted(c.uncertainty_db)],
            }
            for channel, c in zip(done.channels, errors.channels, strict=True)
        ],
        "azimuth_delay_us": errors.azimuth_delay_us if done.chosen.azimuth_known and len(done.channels) == 2 else None,
        "azimuth_course": None if errors.azimuth_course is None else _course(errors.azimuth_course),
        "speed_error_percent": errors.speed_error_percent if done.chosen.speed_known else None,
        "uncertainty": [
            {"channel": channel, "frequency_hz": u.frequency_hz, "level_db": u.level_db, "uncertainty_db": u.db}
            for channel, of_channel in zip(done.channels, done.uncertainties, strict=True)
            for u in of_channel or ()
        ],
        "spectrum": [
            {"frequency_hz": hz, "before_dbfs": done.spectra[0][hz], "after_dbfs": done.spectra[1][hz]}
            for hz in (done.spectra[0] if done.spectra else ())
            if done.spectra and hz in done.spectra[1]
        ],
        "passages": list(done.passages),
        "hiss_heard": done.heard_hiss if done.decoded else None,
        "findings": [{"kind": f.kind, "channel": f.channel, "value": f.value} for f in done.findings],
        "warnings": cautions(done),
    }


def _course(course: AzimuthCourse) -> dict[str, Any]:
    points = zip(course.middles_s, course.delay_us, strict=True)
    return {
        "stretches_read": course.read,
        "uncertainty_us": course.uncertainty_us,
        "points": [{"at_s": s, "delay_us": us} for s, us in points],
    }


def lines(done: Done) -> list[str]:
    """The figures used, for the text file next to the output."""
    transfer, errors = done.transfer, done.transfer.errors
    name = SYSTEM_NAMES[transfer.system]
    count = "one channel" if len(done.channels) == 1 else "two channels"
    levels = [f"{decibels(round(db, 2))}FS" for db in (transfer.reference_dbfs, done.out_reference_dbfs)]
    out = [
        f"{'decoded' if done.decoded else 'encoded'} with {name} by Tapebench {__version__}",
        f"from {done.file}: {count}, {transfer.rate:g} Hz, {done.duration_s:.3f} s",
        f"to {done.out}: 24 bits",
        f"0 dB of {name} is {levels[0]} in {done.file}, {levels[1]} in {done.out}: {REFERENCE_LEVELS[transfer.system]}",
        "",
        "errors taken off before decoding" + _source(done) if done.decoded else "errors put on after encoding",
    ]
    for channel, of_channel in zip(done.channels, errors.channels, strict=True):
        u = of_channel.uncertainty_at([of_channel.errors.reference_hz])
        level = with_uncertainty(of_channel.errors.level_db, "dB", 0.0 if u is None else float(u[0]), sign=True)
        out.append(f"  {channel}: level {level} dB")
        relative_to = f"dB relative to {hertz(of_channel.errors.reference_hz)}"
        for hz, db in sorted(of_channel.errors.treble):
            u = of_channel.uncertainty_at([hz])
            together = f" (level and treble together {plus_minus(float(u[0]), 'dB')})" if u is not None else ""
            out.append(f"    {hertz(hz)}: {figure(db, 'dB', sign=True)} {relative_to}{together}")
    if len(done.channels) == 2:
        out += _azimuth_lines(errors)
    out.append(f"  speed: {number(errors.speed_error_percent, 3, sign=True)} %")
    if done.decoded and not done.heard_hiss:
        out += ["", ASKED]
    if done.decoded:
        out += ["", *_uncertainty_lines(done)]
    if done.spectra:
        out += ["", *spectrum_lines(*done.spectra)]
    if done.passages:
        before, after = done.passages
        out += ["", f"a passage as transferred: {before}", f"the same, decoded: {after}"]
    return out


def _azimuth_lines(errors: TransferErrors) -> list[str]:
    course = errors.azimuth_course
    late = "right channel late" if errors.azimuth_delay_us > 0 else "right channel early"
    line = f"  azimuth: {number(errors.azimuth_delay_us, 2)} µs{f', {late}' if errors.azimuth_delay_us else ''}"
    if course is None:
        return [line]
    read = f"read in {course.read} of {counted(len(course.delay_us), 'stretch', 'stretches')} of {STRETCH_S:g} s"
    line += f", by the programme, {read}, {plus_minus(course.uncertainty_us, 'µs')}"
    if not course.varies:
        return [line, "    it does not change along the tape by more than chance would show"]
    every = -(-len(course.delay_us) // MOST_LINES)
    points = list(zip(course.middles_s, course.delay_us, strict=True))[::every]
    return [
        f"{line}; this is its mean, because it changes along the tape:",
        *(f"    {int(s) // 60}:{int(s) % 60:02} {number(us, 2)} µs" for s, us in points),
    ]


def _stage(done: Done) -> str:
    return f" {done.chosen.stage.replace('-', ' ')}" if done.chosen.stage else ""


def _source(done: Done) -> str:
    chosen = done.chosen
    if not chosen.session:
        return ", as given"
    if chosen.of_tape:
        return f": by the tones and the programme of the tape itself, as {chosen.session} read them"
    on = {"": "a machine that is right", "itself": "the same machine, as it was"}.get(
        chosen.replayed_on, chosen.replayed_on
    )
    return f": a tape of the machine of {chosen.session},{_stage(done)}, replayed on {on}"


def _uncertainty_lines(done: Done) -> list[str]:
    out = ["uncertainty of the decoded level, dB (k = 2), by level before encoding and frequency"]
    for channel, found in zip(done.channels, done.uncertainties, strict=True):
        if found is None:
            out.append(f"  {channel}: no figure, because {NO_UNCERTAINTY}; give --uncertainty or --session")
            continue
        out.append(f"  {channel:<8}" + "".join(f"{hertz(hz):>9}" for hz in AT_HZ))
        at = {(u.frequency_hz, u.level_db): u.db for u in found}
        out += [f"  {decibels(db):<8}" + "".join(f"{at[hz, db]:>9.2f}" for hz in AT_HZ) for db in AT_DB]
    return [*out, f"  {ENCODER}"]

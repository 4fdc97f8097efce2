"""The available sound devices, and the choice of one by name."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from bench.problem import Problem

NO_DEVICE = (
    "there is no sound device: plug in the interface and switch it on, or start the sound server; "
    "a file or the practice machine needs none"
)


@dataclass(frozen=True, slots=True)
class Device:
    """A sound device as PortAudio lists it."""

    index: int
    name: str
    system: str
    """Its sound system: ALSA, Core Audio, Windows WASAPI…"""
    inputs: int
    outputs: int
    sample_rate: int
    """Its default sample rate, Hz."""
    default_input: bool
    default_output: bool

    def as_json(self) -> dict[str, Any]:
        """The fields that `ports --json` prints."""
        return asdict(self)


def query_devices(sounddevice: Any) -> tuple[Device, ...]:
    """All devices.

    Args:
        sounddevice: the module, passed in because only the live port imports it.
    """
    systems = sounddevice.query_hostapis()
    default_in, default_out = sounddevice.default.device
    return tuple(
        Device(
            index=index,
            name=_plain(info["name"]),
            system=_plain(systems[info["hostapi"]]["name"]),
            inputs=int(info["max_input_channels"]),
            outputs=int(info["max_output_channels"]),
            sample_rate=round(info["default_samplerate"]),
            default_input=index == default_in,
            default_output=index == default_out,
        )
        for index, info in enumerate(sounddevice.query_devices())
    )


def choose(devices: tuple[Device, ...], wanted: str | None) -> tuple[Device, Device]:
    """The input and output device of a name.

    Args:
        devices: the available devices.
        wanted: a name, or a unique part of it; "IN / OUT" for two devices, as Windows lists the input and output of
            one interface; None for the system's default.

    Raises:
        Problem: no device, none or several of this name, or one with too few channels.
    """
    if not devices:
        raise Problem(NO_DEVICE)
    names = [part.strip() for part in (wanted or "").split(" / ")]
    if len(names) > 2:
        raise Problem(f'"{wanted}" names more than two devices; write one name, or IN / OUT')
    record, play = _match(devices, names[0], "inputs"), _match(devices, names[-1], "outputs")
    if play.outputs < 2:
        raise Problem(f'the sound device "{play.name}" has one output channel and two are needed; choose another')
    return record, play


def _match(devices: tuple[Device, ...], name: str, side: str) -> Device:
    able = [d for d in devices if getattr(d, side) > 0]
    if not able:
        raise Problem(f"no sound device has {side}; plug in an interface that can record and play at once")
    if not name:
        default = "default_input" if side == "inputs" else "default_output"
        return next((d for d in able if getattr(d, default)), able[0])
    for fits in (
        [d for d in able if name.lower() in (d.name.lower(), f"{d.name}, {d.system}".lower())],
        [d for d in able if name.lower() in f"{d.name}, {d.system}".lower()],
    ):
        systems = {d.system for d in fits}
        if len(fits) == 1 or (fits and len(systems) == len(fits)):
            return fits[0]  # one device listed by several sound systems: the first is the system's default
        if fits:
            raise Problem(f'"{name}" fits several devices with {side}: {_quoted_names(fits)}; write more of the name')
    raise Problem(f'there is no sound device with {side} named "{_plain(name)}"; there are: {_quoted_names(able)}')


def _quoted_names(devices: list[Device]) -> str:
    return ", ".join(f'"{d.name}"' for d in devices)


def _plain(text: str) -> str:
    """The text without control characters, because the name comes from outside and is shown on a terminal."""
    return "".join(c if c.isprintable() else " " for c in str(text)).strip()

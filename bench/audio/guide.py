"""The audible guide: alternating tones for the target and the reading, whose pitches converge as the reading does.

It sounds on a separate output, never on one that may lead to the machine, so that it is not recorded.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bench.audio.devices import NO_DEVICE, Device
from bench.audio.portaudio import DROP_S, OPEN_S, devices, library, on_portaudio
from bench.problem import Problem

TARGET_HZ = 880.0
"""Pitch of the target, where pitch discrimination is good and small loudspeakers are still effective. A choice."""
OCTAVE_AT = 8.0
"""Error, in tolerances, at which the pitch of the reading is an octave from the target; one tolerance is a semitone and
a half, and an octave is the limit. A choice."""
AMPLITUDE = 0.03
"""Amplitude, full scale 1: −30 dBFS is quiet. A choice."""
TARGET_S, READING_S, GAP_S, FADE_S = 0.12, 0.25, 0.06, 0.01

ROUTES = ("default", "pulse", "pipewire", "jack", "dmix", "sound mapper", "primary sound", "primary audio")
"""Names of devices that the sound system routes to whatever output is selected."""


class GuideSound:
    """The sound, generated on demand.

    Args:
        rate: frames per second.
    """

    def __init__(self, rate: float) -> None:
        self._rate = rate
        self.off: float | None = None
        """Reading minus target, in tolerances; None is silence."""
        self._rest: NDArray[np.float32] = np.zeros(0, dtype=np.float32)

    def frames(self, count: int) -> NDArray[np.float32]:
        """The next frames, shape (count,)."""
        off = self.off
        if off is None:
            self._rest = self._rest[:0]
            return np.zeros(count, dtype=np.float32)
        while len(self._rest) < count:
            tones = (self._tone(TARGET_HZ, TARGET_S), self._tone(pitch_hz(off), READING_S))
            self._rest = np.concatenate([self._rest, *tones])
        out, self._rest = self._rest[:count], self._rest[count:]
        return out

    def _tone(self, hz: float, seconds: float) -> NDArray[np.float32]:
        """A tone that fades in and out, and the gap after it."""
        t = np.arange(round(seconds * self._rate)) / self._rate
        fade = np.clip(np.minimum(t, seconds - t) / FADE_S, 0.0, 1.0)
        sound = AMPLITUDE * np.sin(0.5 * np.pi * fade) ** 2 * np.sin(2.0 * np.pi * hz * t)
        return np.concatenate([sound, np.zeros(round(GAP_S * self._rate))]).astype(np.float32)


def pitch_hz(off: float) -> float:
    """The pitch of a reading with this error in tolerances: higher if it reads high."""
    return float(TARGET_HZ * 2.0 ** (max(-OCTAVE_AT, min(OCTAVE_AT, off)) / OCTAVE_AT))


def guide_device(listed: Sequence[Device], used: Sequence[Device]) -> Device:
    """The output for the guide.

    Args:
        listed: the available devices.
        used: devices that are connected to the machine; none for the practice machine.

    Raises:
        Problem: every output may lead to the machine, or there is none.
    """
    able = sorted((d for d in listed if d.outputs > 0), key=lambda d: not d.default_output)
    if not able:
        raise Problem(NO_DEVICE)
    if not used:
        return able[0]
    if any(_is_route(d) for d in used):
        raise Problem(
            f'the guide stays silent: the machine is connected through "{used[0].name}", which may be any output; '
            "choose the interface itself as the sound device"
        )
    own = [d for d in able if not _is_route(d) and not any(_same_card(d, u) for u in used)]
    if not own:
        raise Problem(
            "the guide stays silent: the only output of this computer leads to the machine; the guide needs another one"
        )
    return own[0]


def _is_route(device: Device) -> bool:
    return any(route in device.name.casefold() for route in ROUTES)


def _same_card(one: Device, other: Device) -> bool:
    a, b = _card(one.name), _card(other.name)
    return a.startswith(b) or b.startswith(a)  # some systems cut a long name short


def _card(name: str) -> str:
    """The card in a device's name: in brackets after the name of the socket, or before the first colon."""
    inside = [part for part in re.findall(r"\(([^)]*)", name) if not part.startswith("hw:")]
    return (inside[-1] if inside else name.partition(":")[0].partition("(")[0]).strip().casefold()


class AudibleGuide:
    """The guide, sounding until it is closed.

    Args:
        device: from `guide_device`.

    Raises:
        Problem: the device can't be opened.
    """

    def __init__(self, device: Device) -> None:
        self.name = device.name
        self._sound = GuideSound(device.sample_rate)
        self._stream: Any = on_portaudio(lambda: self._start(device), OPEN_S)

    def show(self, off: float | None) -> None:
        """Sound a reading with this error in tolerances; None is silence. Callable from any thread."""
        self._sound.off = off

    def close(self) -> None:
        """Silence. Safe to call twice."""
        self._sound.off = None
        stream, self._stream = self._stream, None
        if stream is not None:
            with contextlib.suppress(Problem):
                on_portaudio(lambda: stream.close(ignore_errors=True), DROP_S)

    def _start(self, device: Device) -> Any:
        sounddevice = library()

        def callback(outdata: Any, frames: int, _times: Any, _status: Any) -> None:
            outdata[:] = self._sound.frames(frames)[:, None]

        try:
            stream = sounddevice.OutputStream(
                device=device.index,
                samplerate=device.sample_rate,
                channels=min(2, device.outputs),
                dtype="float32",
                latency="high",
                callback=callback,
            )
            stream.start()
        except (sounddevice.PortAudioError, ValueError) as error:
            raise Problem(
                f'the guide stays silent: the sound device "{device.name}" can\'t be opened ({error}); close other '
                "programs that use it"
            ) from None
        return stream


def open_guide(used: Sequence[Device]) -> AudibleGuide:
    """The guide, on an output that does not lead to the machine.

    Args:
        used: devices that are connected to the machine; none for the practice machine.

    Raises:
        Problem: there is no such output, or it can't be opened.
    """
    return AudibleGuide(guide_device(devices(), used))

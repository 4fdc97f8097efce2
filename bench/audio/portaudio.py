"""The PortAudio library: its thread, its devices and its messages. Only the live port and the audible guide use it."""

from __future__ import annotations

import atexit
import contextlib
from collections.abc import Callable
from typing import Any

from bench.audio.devices import Device, query_devices
from bench.audio.library_thread import LibraryThread, NoAnswer, T
from bench.problem import Problem

LIST_S = 10.0
OPEN_S = 20.0
DROP_S = 2.0
"""Longest waits for PortAudio to list devices, to open a stream and to drop one."""

NO_LIBRARY = (
    "the PortAudio library is not installed, so there is no live sound: install it "
    "(Debian and Ubuntu: apt install libportaudio2); a file or the practice machine needs none"
)
NO_ANSWER = "the sound system does not answer; restart it (or the sound server), then try again"

portaudio_thread = LibraryThread("portaudio")
"""PortAudio crashes when two threads call it at once."""


def devices() -> tuple[Device, ...]:
    """The available sound devices.

    Raises:
        Problem: there is no PortAudio library, or it does not answer.
    """
    return on_portaudio(list_devices, LIST_S)


def on_portaudio(call: Callable[[], T], limit_s: float) -> T:
    """Call PortAudio on its thread. Raises `Problem` if it does not answer in time."""
    try:
        return portaudio_thread.call(call, limit_s)
    except NoAnswer:
        raise Problem(NO_ANSWER) from None


def list_devices() -> tuple[Device, ...]:
    """The available sound devices. Call it on the PortAudio thread; raises `Problem`."""
    sounddevice = library()
    try:
        return query_devices(sounddevice)
    except sounddevice.PortAudioError as error:
        raise Problem(
            f"the sound devices can't be listed ({portaudio_message(error)}); restart the sound system"
        ) from None


def library() -> Any:
    """The sounddevice module. Call it on the PortAudio thread: the import starts PortAudio."""
    try:
        import sounddevice
    except OSError:
        raise Problem(NO_LIBRARY) from None
    except Exception as error:
        raise Problem(
            f"the sound system can't be started ({portaudio_message(error)}); restart it, then try again"
        ) from None
    # Its own exit handler waits without limit for a sound system that hangs.
    handler = sounddevice._exit_handler  # noqa: SLF001 - there is no public name for it
    atexit.unregister(handler)
    atexit.unregister(_at_exit)
    atexit.register(_at_exit, handler)
    return sounddevice


def portaudio_message(error: Exception) -> str:
    """PortAudio's message, without the name of the call."""
    return str(error.args[0] if error.args else error).rsplit(":", maxsplit=1)[-1].strip()


def _at_exit(handler: Any) -> None:
    with contextlib.suppress(Exception):  # the program is ending, so an error has no consequence
        portaudio_thread.call(handler, DROP_S)

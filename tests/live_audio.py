"""Real full-duplex sound without a sound card: a private sound server in its own folder, and a tape machine.

PortAudio, ALSA's pulse plug-in and PulseAudio with a null sink, whose monitor is the input. The home folder is not
touched, and several servers can run side by side. A process that uses sound must be started with `PrivateSound.env`,
because PortAudio looks for devices once, when it is imported.

    with PrivateSound("deck") as sound, Deck(sound) as deck:
        deck.set("gain_db", -6)
        sound.python("worker.py", ...)
        sound.kill(); sound.restart(); deck.restart()
"""

from __future__ import annotations

import json
import os
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Literal

Kind = Literal["loop", "deck", "none"]
"""`loop`: the output comes back at once. `deck`: it goes through a `Deck`. `none`: there is no server."""

# `norewinds`: without it the loop silently loses or inserts samples. One sink of four channels carries both legs of
# the deck, so that they share a clock.
_SINK = "load-module module-null-sink rate=48000 format=float32le norewinds=1"
_FRONT, _REAR = "front-left,front-right", "rear-left,rear-right"
_LOOP = f"""\
{_SINK} sink_name=rec channels=2 channel_map={_FRONT}
set-default-sink rec
set-default-source rec.monitor
"""
_DECK = f"""\
{_SINK} sink_name=bus channels=4 channel_map={_FRONT},{_REAR}
load-module module-remap-sink sink_name=to_deck master=bus channels=2 channel_map={_FRONT} \
master_channel_map={_FRONT} remix=no
load-module module-remap-source source_name=deck_rec master=bus.monitor channels=2 channel_map={_FRONT} \
master_channel_map={_FRONT} remix=no
load-module module-remap-sink sink_name=deck_play master=bus channels=2 channel_map={_FRONT} \
master_channel_map={_REAR} remix=no
load-module module-remap-source source_name=from_deck master=bus.monitor channels=2 channel_map={_FRONT} \
master_channel_map={_REAR} remix=no
set-default-sink to_deck
set-default-source from_deck
"""
_DAEMON = """\
default-sample-rate = 48000
alternate-sample-rate = 48000
default-sample-format = float32le
default-sample-channels = 2
flat-volumes = no
exit-idle-time = -1
realtime-scheduling = no
high-priority = no
"""
_ALSA = """\
pcm.pulse { type pulse }
ctl.pulse { type pulse }
pcm.!default { type pulse }
ctl.!default { type pulse }
pcm.deck_in { type pulse device deck_rec }
pcm.deck_out { type pulse device deck_play }
"""


def missing() -> str | None:
    """Why private sound is impossible here; None when it is possible."""
    for program in ("pulseaudio", "pactl"):
        if shutil.which(program) is None:
            return f"{program} is not installed"
    return None


class PrivateSound:
    """A private sound server."""

    def __init__(self, kind: Kind = "loop") -> None:
        self.kind = kind
        self.folder = Path(tempfile.mkdtemp(prefix="tb-"))  # short, because a socket path has at most 107 bytes
        self.env = os.environ | {
            "PULSE_RUNTIME_PATH": f"{self.folder}/run",
            "PULSE_STATE_PATH": f"{self.folder}/state",
            "PULSE_COOKIE": f"{self.folder}/cookie",
            "PULSE_SERVER": f"unix:{self.folder}/run/native",
            "PULSE_CONFIG": f"{self.folder}/daemon.conf",
            "ALSA_CONFIG_PATH": f"{self.folder}/asound.conf",
        }
        """The environment in which PortAudio finds only this server."""
        self._server: subprocess.Popen[bytes] | None = None
        for name in ("run", "state"):
            (self.folder / name).mkdir(mode=0o700)
        protocol = "load-module module-native-protocol-unix auth-anonymous=1 auth-cookie-enabled=0"
        start = f"{protocol} socket={self.folder}/run/native\n" + (_DECK if kind == "deck" else _LOOP)
        (self.folder / "start.pa").write_text(start)
        (self.folder / "daemon.conf").write_text(_DAEMON)
        (self.folder / "asound.conf").write_text(_ALSA)

    def __enter__(self) -> PrivateSound:
        if self.kind != "none":
            self.restart()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()
        shutil.rmtree(self.folder, ignore_errors=True)

    @property
    def pid(self) -> int:
        """Process id of the server, for killing or freezing it from another process."""
        assert self._server is not None
        return self._server.pid

    def restart(self) -> None:
        """Start the server, also after a `kill`; returns once it answers."""
        self._server = subprocess.Popen(
            ["pulseaudio", "-n", "-F", f"{self.folder}/start.pa", "--daemonize=no", "--use-pid-file=no"],
            env=self.env,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for _ in range(100):
            if self._server.poll() is not None:
                break
            if subprocess.run(["pactl", "info"], env=self.env, capture_output=True, check=False).returncode == 0:
                return
            time.sleep(0.05)
        raise RuntimeError("the private sound server does not start")

    def kill(self) -> None:
        """Remove the device: the server ends at once, even if frozen."""
        if self._server is not None:
            self._server.kill()
            self._server.wait()
        self._server = None

    def freeze(self) -> None:
        """Make the device hang: no sound and no error."""
        assert self._server is not None
        self._server.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let a frozen server go on."""
        assert self._server is not None
        self._server.send_signal(signal.SIGCONT)

    def suspend(self) -> None:
        """Stop the sound of the device, although its server still answers."""
        subprocess.run(
            ["pactl", "suspend-sink", "bus" if self.kind == "deck" else "rec", "1"], env=self.env, check=True
        )

    def python(self, *args: str | Path, limit_s: float = 60.0) -> subprocess.CompletedProcess[str]:
        """Run this Python with these arguments on the private sound server."""
        return subprocess.run(
            [sys.executable, *args], env=self.env, capture_output=True, text=True, timeout=limit_s, check=False
        )


class Deck:
    """`deck_machine.py` running between the devices of a `PrivateSound("deck")`."""

    def __init__(self, sound: PrivateSound) -> None:
        self._sound = sound
        self._screws: dict[str, float] = {}
        self._process: subprocess.Popen[str] | None = None

    def __enter__(self) -> Deck:
        self.restart()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def restart(self) -> None:
        """Switch it on, also after the server was killed; its screws keep their positions."""
        for _ in range(5):  # a stream sometimes ends just after its start on a busy computer
            self.close()
            self._process = subprocess.Popen(
                [sys.executable, Path(__file__).with_name("deck_machine.py")],
                env=self._sound.env,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
            )
            if self._answer() == "ready":
                for name, value in self._screws.items():
                    self.set(name, value)
                return
        raise RuntimeError("the deck does not start")

    def set(self, name: str, value: float) -> None:
        """Turn a screw: see `deck_machine.py` for their names."""
        self._screws[name] = value
        self._tell(f"set {name} {value}")

    def play_tape(self, tones: list[tuple[float, float, float]]) -> None:
        """Play a reference tape from its start: (Hz, dBFS, seconds) one after another, Hz 0 for a gap."""
        self._tell(f"tape {json.dumps(tones)}")

    def eject(self) -> None:
        """Return to replaying the input."""
        self._tell("eject")

    def close(self) -> None:
        """Switch it off."""
        if self._process is not None:
            self._process.kill()
            self._process.communicate()
        self._process = None

    def _tell(self, line: str) -> None:
        assert self._process
        assert self._process.stdin
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()
        if self._answer() != "ok":
            raise RuntimeError(f"the deck did not obey: {line}")

    def _answer(self, limit_s: float = 20.0) -> str:
        assert self._process
        assert self._process.stdout
        ready, _, _ = select.select([self._process.stdout], [], [], limit_s)
        return self._process.stdout.readline().strip() if ready else ""

"""`decode --listen` on a real sound device: what is heard before and after the key is pressed."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.live_audio import PrivateSound, missing
from tests.measure.captures import tone

pytestmark = [pytest.mark.live, pytest.mark.skipif(missing() is not None, reason=str(missing()))]

RATE = 48000
HEARD = ["parec", "--device=rec.monitor", "--format=float32le", f"--rate={RATE}", "--channels=2"]


def heard_db(sound: PrivateSound, hz: float, seconds: float = 1.0) -> float:
    """Level of a tone on the output of the sound server now, dBFS."""
    with subprocess.Popen(HEARD, env=sound.env, stdout=subprocess.PIPE) as recorder:
        assert recorder.stdout
        samples = np.frombuffer(recorder.stdout.read(8 * round(seconds * RATE)), dtype=np.float32)[::2]
        recorder.kill()
    late = samples[len(samples) // 4 :].astype(float)
    turns = np.exp(-2j * np.pi * hz * np.arange(len(late)) / RATE)
    return 20 * float(np.log10(abs(2 * (late * np.hanning(len(late)) * turns).sum()) / np.hanning(len(late)).sum()))


def test_one_key_changes_from_transferred_to_decoded_and_back(tmp_path: Path) -> None:
    source = tone(300.0, -12.0, 12.0, RATE) + tone(5000.0, -52.0, 12.0, RATE)
    soundfile.write(tmp_path / "transfer.wav", np.stack((source, source), axis=1), RATE, subtype="PCM_24")
    command = [sys.executable, "-m", "bench", "decode", "transfer.wav", "out.wav", "--reference-level", "-12"]
    with (
        PrivateSound("loop") as sound,
        subprocess.Popen(
            [*command, "--listen"],
            cwd=tmp_path,
            env=sound.env | {"PYTHONPATH": str(Path(__file__).parents[2]), "PYTHONUNBUFFERED": "1"},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            bufsize=1,
        ) as listening,
    ):
        assert listening.stdin
        assert listening.stdout
        levels = []
        for key, says in (("", "Loudspeakers down"), ("\n", "decoded\n"), ("\n", "as transferred\n")):
            listening.stdin.write(key)
            listening.stdin.flush()
            assert any(line.startswith(says) for line in listening.stdout), "it ended"
            time.sleep(1.0)
            levels.append(heard_db(sound, 5000.0))
        listening.stdin.write("q\n")
        listening.stdin.flush()
        assert listening.wait(10) == 0
    after = soundfile.read(tmp_path / "out.after.wav")[0][:RATE, 0]
    decoded = 20 * np.log10(abs(2 * np.mean(after * np.exp(-2j * np.pi * 5000.0 * np.arange(RATE) / RATE))))
    assert levels == pytest.approx([-52.0, decoded, -52.0], abs=0.2)
    assert decoded < -58.0

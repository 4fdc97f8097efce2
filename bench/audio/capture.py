"""A capture in a file, read block by block: any format that libsndfile reads, any rate, one channel or two."""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bench.audio.standard_error import stderr_silenced
from bench.problem import Problem

LOWEST_RATE, HIGHEST_RATE = 8000, 768_000
"""Hz. A damaged header may state any rate, which would scale time by a factor of thousands."""
_SHORTER = re.compile(r": (\d+) \(should be (\d+)\)")
"""How libsndfile reports a header that states more bytes than the file holds."""
_UNKNOWN_LENGTH = 2**31 - 2**20
"""Programs that write to a pipe state about 2³¹ or 2³² bytes, because they cannot go back and write the true length."""
_LARGEST = 1e6
"""Largest sample that can be sound, re full scale: 120 dB above it. A damaged file of floating point holds more."""
_MOST_SAMPLES = 2**22
"""Most samples decoded at a time, so that a file with a thousand channels does not fill the memory."""
_NO_LENGTH = 2**60
"""libsndfile reports 2⁶³ - 1 frames if the header does not state the length."""
_LOSSY = {"VORBIS", "OPUS", "MPEG_LAYER_I", "MPEG_LAYER_II", "MPEG_LAYER_III"}
_STREAMED_FORMATS = {"FLAC", "MP3"}
"""Formats whose length is certain only after the end has been decoded."""


class Capture:
    """An audio file, opened and checked; `blocks` reads its samples.

    Args:
        path: the file.
        pick: which channels to use, counted from 1, one or two of them; needed if there are more than two.

    Raises:
        Problem: missing, a folder, not audio, no samples, more than two channels without `pick`, or an
            impossible `pick`. samples that are no sound raise it while the blocks are read.
    """

    def __init__(self, path: Path | str, pick: tuple[int, ...] | None = None) -> None:
        self.path = Path(path)
        self.name = "".join(c if c.isprintable() else "�" for c in str(path))
        self._warnings: list[str] = []
        self._damaged = False
        self._check_it_is_a_file()
        with self._opened() as sound:
            self.sample_rate = int(sound.samplerate)
            if not LOWEST_RATE <= self.sample_rate <= HIGHEST_RATE:
                raise Problem(
                    f"{self.name} has a sample rate of {self.sample_rate} Hz by its header, which holds no tone that "
                    f"is measured here; export it again at {LOWEST_RATE} to {HIGHEST_RATE} Hz"
                )
            self._stored_channels = int(sound.channels)
            self._chatters = sound.format == "MP3"
            self._may_hold_nan = sound.subtype in ("FLOAT", "DOUBLE")
            self._pick = self._check_pick(pick)
            self.channels = self._stored_channels if self._pick is None else len(self._pick)
            self.frames = int(sound.frames)
            if sound.subtype in _LOSSY:
                self._warnings.append(
                    f"{self.name} is stored with loss ({sound.subtype_info}), which can move levels by tenths of a "
                    "decibel; record as WAV or FLAC"
                )
            whole = not self._is_cut_short(sound)
            if self.frames > 0 and sound.format in _STREAMED_FORMATS and not self._end_is_there(sound):
                self._damaged = True
                promised, self.frames = self.frames, self._count()
                whole = self.frames >= promised or promised > _NO_LENGTH
                self._damaged = not whole
        if self.frames <= 0:
            raise self._no_samples()
        if not whole:
            self._warn_cut_short()

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.frames / self.sample_rate

    @property
    def warnings(self) -> tuple[str, ...]:
        """Warnings about the file, one sentence each. Reading its blocks can add more."""
        return tuple(self._warnings)

    def blocks(self, frames: int = 65536) -> Generator[NDArray[np.float64], None, None]:
        """The samples in order, from the start of the file.

        Args:
            frames: length of each block but the last; shorter in a file with very many channels.

        Yields:
            Arrays of shape (frames, channels), full scale ±1.

        Raises:
            Problem: at the first sample that is NaN, infinite or too large to be sound, with its time.
        """
        done = 0
        frames = max(1, min(frames, _MOST_SAMPLES // self._stored_channels))
        with self._opened() as sound:
            while done < self.frames:
                samples = self._read(sound, min(frames, self.frames - done))
                if not len(samples):
                    break
                if self._pick is not None:
                    samples = np.ascontiguousarray(samples[:, [c - 1 for c in self._pick]])
                if self._may_hold_nan:
                    self._check_samples(samples, done)
                done += len(samples)
                yield samples
        if not done:
            raise self._no_samples()
        if done < self.frames:
            self.frames = done
            self._warn_cut_short()

    def _check_it_is_a_file(self) -> None:
        try:
            if self.path.is_dir():
                raise Problem(f"{self.name} is a folder; name an audio file in it")
            if not self.path.exists():
                raise Problem(f"{self.name} does not exist; look at the spelling and the folder")
            if not self.path.is_file():
                raise Problem(f"{self.name} is not a file that can be read through; name an audio file")
            if self.path.stat().st_size == 0:
                raise Problem(f"{self.name} is empty; record it again, or give another file")
            self.path.open("rb").close()
        except PermissionError:
            raise Problem(f"{self.name} may not be read; change its permissions") from None
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            raise Problem(f"{self.name} can't be opened: {reason}") from None

    @contextlib.contextmanager
    def _opened(self) -> Iterator[Any]:
        import soundfile

        try:
            with stderr_silenced():
                sound = soundfile.SoundFile(self._path_as_stored())
        except TypeError:  # soundfile needs rate and channels for a name that ends in .raw
            raise Problem(
                f"{self.name} is headerless, so its sample rate is unknown; convert it to WAV or FLAC"
            ) from None
        except (soundfile.LibsndfileError, OSError, UnicodeError) as error:
            reason = str(getattr(error, "error_string", error)).strip().rstrip(".")
            if "does not exist" in reason:  # libsndfile's words for a stub of an MPEG file
                reason = "Format not recognised"
            raise Problem(f"{self.name} is not audio that can be read ({reason}); give a WAV or FLAC file") from None
        try:
            yield sound
        finally:
            with stderr_silenced():
                sound.close()

    def _path_as_stored(self) -> str | bytes:
        """The name as the system stores it: bytes, not always text, on POSIX; text on Windows."""
        return os.fsencode(self.path) if os.name == "posix" else str(self.path)

    def _read(self, sound: Any, frames: int) -> NDArray[np.float64]:
        """Up to `frames` frames; none at the end, or if a damaged file can't be decoded any further."""
        import soundfile

        pieces: list[NDArray[np.float64]] = []
        # A call that fails returns nothing, so small calls preserve the frames before the damage.
        step = 1024 if self._damaged else frames
        try:
            with stderr_silenced() if self._chatters else contextlib.nullcontext():
                while frames > 0:
                    piece = sound.read(min(step, frames), dtype="float64", always_2d=True)
                    if not len(piece):
                        break
                    pieces.append(piece)
                    frames -= len(piece)
        except (soundfile.LibsndfileError, RuntimeError):
            pass
        if len(pieces) == 1:
            return pieces[0]
        return np.concatenate([np.zeros((0, self._stored_channels)), *pieces])

    def _check_pick(self, pick: tuple[int, ...] | None) -> tuple[int, ...] | None:
        have = self._stored_channels
        if pick is None:
            if have > 2:
                raise Problem(
                    f"{self.name} has {have} channels; choose two with --channels 1,2, or give a file with two"
                )
            return None
        if not 1 <= len(pick) <= 2:
            raise Problem(f"{self.name}: choose one channel or two, not {len(pick)}")
        for channel in pick:
            if not 1 <= channel <= have:
                raise Problem(f"{self.name} has no channel {channel}; it has {have}, counted from 1")
        return tuple(pick)

    def _is_cut_short(self, sound: Any) -> bool:
        promised_and_there = [(int(a), int(b)) for a, b in _SHORTER.findall(sound.extra_info)]
        if any(there < promised < _UNKNOWN_LENGTH for promised, there in promised_and_there):
            return True
        return sound.format == "OGG" and _ogg_is_cut_short(self.path)

    def _end_is_there(self, sound: Any) -> bool:
        try:
            with stderr_silenced():
                sound.seek(self.frames - 1)
                return len(sound.read(1)) == 1
        except Exception:  # any error in decoding a damaged end means that the end is missing
            return False

    def _count(self) -> int:
        frames = 0
        with self._opened() as sound:
            while len(samples := self._read(sound, 65536)):
                frames += len(samples)
        return frames

    def _check_samples(self, samples: NDArray[np.float64], start: int) -> None:
        good = np.abs(samples) <= _LARGEST  # false for NaN as well
        if good.all():
            return
        at = int(np.argmin(good.all(axis=1)))
        bad = samples[at][~good[at]][0]
        what = "NaN (not a number)" if np.isnan(bad) else "infinite" if np.isinf(bad) else "too large to be sound"
        time_s = (start + at) / self.sample_rate
        raise Problem(f"{self.name} holds a sample that is {what} at {time_s:.3f} s; export it again")

    def _no_samples(self) -> Problem:
        return Problem(f"{self.name} holds no samples; record it again, or give another file")

    def _warn_cut_short(self) -> None:
        self._warnings.append(
            f"{self.name} is cut short: its header promises more than it holds; "
            f"the {self.frames} frames ({self.duration_s:.3f} s) that are left are used"
        )


def _ogg_is_cut_short(path: Path) -> bool:
    """Whether the last Ogg page is missing or broken (RFC 3533 section 6: capture pattern, header type, lacing)."""
    longest_page = 27 + 255 + 255 * 255
    size = path.stat().st_size
    with path.open("rb") as file:
        file.seek(max(0, size - longest_page))
        tail = file.read()
    at = tail.rfind(b"OggS")
    if at < 0 or len(tail) < at + 27:
        return True
    segments = tail[at + 26]
    ends = at + 27 + segments + sum(tail[at + 27 : at + 27 + segments])
    return not tail[at + 5] & 4 or ends > len(tail)

"""Writes sound to a file that appears complete or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench.problem import Problem
from bench.signals.source import Source

FORMATS = {".wav": "WAV", ".flac": "FLAC", ".aiff": "AIFF", ".aif": "AIFF"}
FLAC_EFFORT = 0.375
"""Of 0 to 1, libFLAC's level 3: music of 24 bits gets 0.2 % longer than at the usual level 5, in three quarters of the
time."""
_BLOCK = 65536
_LONGEST_WAV = 2**32 - 2**20
"""Bytes: a plain WAV stores its length in 32 bits."""
_SYSTEM_ERROR = 2
"""Code of libsndfile where the system took no more, which does not say why."""


def write_source(path: Path, source: Source, sample_rate: int, bits: int, *, force: bool = False) -> None:
    """Write a source in two channels with triangular dither (common practice: it avoids distortion of quiet tones).

    The file appears complete or not at all.

    Args:
        path: the file; its suffix determines the format.
        source: the signal, which must have an end.
        sample_rate: frames per second.
        bits: 16 or 24.
        force: overwrite an existing file.

    Raises:
        Problem: the file exists already, can't be written, or its suffix is none of `FORMATS`.
    """
    frames = source.frames
    if frames is None:
        raise Problem(f"{source.description} never ends, so it can't be written to a file")
    check_ending(path)
    with placed(path, force=force) as partial:
        blocks = (source.render(start, min(_BLOCK, frames - start)) for start in range(0, frames, _BLOCK))
        write_sound(partial, blocks, sample_rate, channels=2, bits=bits, frames=frames)


def check_ending(path: Path) -> None:
    """Raise `Problem` if the suffix is none of `FORMATS`."""
    if path.suffix.lower() not in FORMATS:
        raise Problem(f"{path}: write to a file that ends in {', '.join(FORMATS)}")


@contextlib.contextmanager
def placed(path: Path, *, force: bool) -> Iterator[Path]:
    """A temporary file in the folder of `path` that replaces it at the end; after any error it is removed.

    Raises:
        Problem: `path` is a folder, exists already without `force`, or can't be written.
    """
    if path.is_dir():
        raise Problem(f"{path} is a folder; name a file")
    if path.exists() and not force:
        raise _there_already(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.stem[:40]}-", suffix=path.suffix, dir=path.parent)
    except OSError as error:
        raise Problem(f"{path} can't be written: {os.strerror(error.errno or 0)}") from None
    os.close(handle)
    partial = Path(name)
    try:
        yield partial
        _set_usual_mode(partial)
        _put_in_place(partial, path, force)
    finally:
        partial.unlink(missing_ok=True)


def write_sound(
    path: Path, blocks: Iterable[NDArray[np.float64]], sample_rate: int, *, channels: int, bits: int, frames: int
) -> float:
    """Write blocks of sound with triangular dither; the same blocks always give the same file.

    Args:
        path: the file; its suffix is one of `FORMATS`.
        blocks: each of shape (frames, channels), full scale ±1; anything beyond is clipped.
        sample_rate: frames per second.
        channels: channels in each block.
        bits: 16 or 24.
        frames: approximate total length; a WAV file of 4 GB or more needs a longer header (RF64).

    Returns:
        The highest peak of the blocks; above 1, samples were clipped.

    Raises:
        Problem: the format can't store such sound, or the disk is full.
    """
    import soundfile

    kind = FORMATS[path.suffix.lower()]
    if kind == "WAV" and frames * channels * bits // 8 > _LONGEST_WAV:
        kind = "RF64"
    rng, peak = np.random.default_rng(0), 0.0
    try:
        effort = FLAC_EFFORT if kind == "FLAC" else None
        with soundfile.SoundFile(
            path, "w", sample_rate, channels, f"PCM_{bits}", format=kind, compression_level=effort
        ) as sound:
            for block in blocks:
                peak = max(peak, float(np.abs(block).max(initial=0.0)))
                sound.write(quantised(block, bits, rng))
    except (soundfile.LibsndfileError, OSError, ValueError) as error:
        if isinstance(error, OSError) or getattr(error, "code", None) == _SYSTEM_ERROR:
            raise Problem(
                f"{path.parent.resolve()} takes no more: the disk is full, or the file is too large for it; free some "
                "space, or write to another folder"
            ) from None
        reason = str(getattr(error, "error_string", error)).rstrip(".")
        raise Problem(f"{path.suffix} can't be written at {sample_rate} Hz with {bits} bits ({reason})") from None
    return peak


def quantised(samples: NDArray[np.float64], bits: int, rng: np.random.Generator) -> NDArray[np.int32]:
    """Samples of `bits` bits in the top bits of 32, with triangular dither; full scale ±1 is ±2**(bits - 1)."""
    from bench.audio.kernels import quantise

    # Two of 16 bits for each sample, frame by frame, so independent of block size.
    drawn = rng.integers(0, 2**32, samples.shape, dtype=np.uint32)
    made = np.empty(samples.shape, np.int32)
    quantise(samples, drawn, bits, made)
    return made


def _set_usual_mode(path: Path) -> None:
    """Give the finished file the usual permissions: a temporary file is readable by its owner only."""
    mask = os.umask(0)
    os.umask(mask)
    path.chmod(0o666 & ~mask)


def _there_already(path: Path) -> Problem:
    return Problem(f"{path} is there already; choose another name, or use --force to overwrite it")


def _put_in_place(partial: Path, path: Path, force: bool) -> None:
    try:
        if force or not hasattr(os, "link"):
            partial.replace(path)
            return
        try:
            os.link(partial, path)  # unlike replace, it never overwrites a file that has appeared meanwhile
        except FileExistsError:
            raise _there_already(path) from None
        except OSError:  # a file system without links
            partial.replace(path)
    except OSError as error:
        raise Problem(f"{path} can't be written: {error.strerror}") from None

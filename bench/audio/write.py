"""Writes a source to an audio file, for a player that feeds the machine."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench.problem import Problem
from bench.signals.source import Source

FORMATS = {".wav": "WAV", ".flac": "FLAC", ".aiff": "AIFF", ".aif": "AIFF"}
_BLOCK = 65536


def write_source(path: Path, source: Source, sample_rate: int, bits: int, *, force: bool = False) -> None:
    """Write a source, two channels, with triangular dither (common practice: no distortion of quiet tones).

    The file appears complete or not at all.

    Args:
        path: the file; its suffix decides the format.
        source: what is written; must have an end.
        sample_rate: frames per second.
        bits: 16 or 24.
        force: overwrite an existing file.

    Raises:
        Problem: the file exists already, can't be written, or its suffix is none of `FORMATS`.
    """
    if path.suffix.lower() not in FORMATS:
        raise Problem(f"{path}: write to a file that ends in {', '.join(FORMATS)}")
    if path.is_dir():
        raise Problem(f"{path} is a folder; name a file")
    if path.exists() and not force:
        raise Problem(f"{path} is there already; choose another name, or say --force to write over it")
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.stem[:40]}-", suffix=path.suffix, dir=path.parent)
    except OSError as error:
        raise Problem(f"{path} can't be written: {os.strerror(error.errno or 0)}") from None
    os.close(handle)
    partial = Path(name)
    try:
        _write(partial, source, sample_rate, bits)
        _set_usual_mode(partial)
        _put_in_place(partial, path, force)
    finally:
        partial.unlink(missing_ok=True)


def _write(path: Path, source: Source, sample_rate: int, bits: int) -> None:
    import soundfile

    if source.frames is None:
        raise Problem(f"{source.description} never ends, so it can't be written to a file")
    rng = np.random.default_rng(0)  # the same file each time
    try:
        with soundfile.SoundFile(
            path, "w", sample_rate, 2, f"PCM_{bits}", format=FORMATS[path.suffix.lower()]
        ) as sound:
            for start in range(0, source.frames, _BLOCK):
                sound.write(quantised(source.render(start, min(_BLOCK, source.frames - start)), bits, rng))
    except (soundfile.LibsndfileError, OSError, ValueError) as error:
        reason = str(getattr(error, "error_string", error)).rstrip(".")
        raise Problem(f"{path.suffix} can't be written at {sample_rate} Hz with {bits} bits ({reason})") from None


def quantised(samples: NDArray[np.float64], bits: int, rng: np.random.Generator) -> NDArray[np.int32]:
    """Samples of `bits` bits in the top bits of 32, with triangular dither; full scale ±1 is ±2**(bits - 1)."""
    full = 2.0 ** (bits - 1)
    dither = rng.random(samples.shape) - rng.random(samples.shape)
    steps = np.clip(np.rint(samples * full + dither), -full, full - 1)
    return steps.astype(np.int32) << (32 - bits)


def _set_usual_mode(path: Path) -> None:
    """Give the finished file the usual permissions: a temporary file is readable by its owner only."""
    mask = os.umask(0)
    os.umask(mask)
    path.chmod(0o666 & ~mask)


def _put_in_place(partial: Path, path: Path, force: bool) -> None:
    try:
        if force or not hasattr(os, "link"):
            partial.replace(path)
            return
        try:
            os.link(partial, path)  # unlike replace, it never overwrites a file that has appeared meanwhile
        except FileExistsError:
            raise Problem(f"{path} is there already; choose another name, or say --force to write over it") from None
        except OSError:  # a file system without links
            partial.replace(path)
    except OSError as error:
        raise Problem(f"{path} can't be written: {error.strerror}") from None

"""24-bit FLAC in memory, at about half the size of the samples.

No dither is added: samples from an interface of 24 bits or less are preserved exactly, and finer ones are rounded
140 dB below full scale.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from mmap import mmap

import numpy as np
from numpy.typing import NDArray

BITS = 24
_BLOCK = 65536


def encoded(samples: NDArray[np.floating], sample_rate: int) -> bytes:
    """Samples of shape (frames, channels), full scale ±1, as a FLAC file; values beyond full scale are clipped."""
    return _file([np.clip(samples, -1.0, 1.0 - 2.0 ** (1 - BITS))], sample_rate, samples.shape[1])


def joined(pieces: Iterable[bytes | mmap], sample_rate: int, channels: int) -> bytes:
    """FLAC files of the same rate and number of channels joined into one, sample by sample."""
    return _file(_samples(pieces), sample_rate, channels)


def _samples(pieces: Iterable[bytes | mmap]) -> Iterator[NDArray[np.int32]]:
    import soundfile

    for piece in pieces:
        with soundfile.SoundFile(io.BytesIO(piece)) as file:
            yield from file.blocks(_BLOCK, dtype="int32", always_2d=True)


def _file(blocks: Iterable[NDArray[np.floating] | NDArray[np.int32]], sample_rate: int, channels: int) -> bytes:
    import soundfile

    out = io.BytesIO()
    with soundfile.SoundFile(out, "w", sample_rate, channels, subtype=f"PCM_{BITS}", format="FLAC") as file:
        for block in blocks:
            file.write(block)
    return out.getvalue()

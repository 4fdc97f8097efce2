"""Evidence: the sound behind readings, as FLAC, so that it can be measured again."""

from __future__ import annotations

import io

import numpy as np

from bench.procedure.state.journal import Sound

BITS = 24


def flac(sound: Sound) -> bytes:
    """The sound as a FLAC file of 24 bits.

    Without dither: what an interface of 24 bits or less gave comes back as it was, and what was computed finer is
    rounded 140 dB below full scale.
    """
    import soundfile

    out = io.BytesIO()
    full = 1.0 - 2.0 ** (1 - BITS)
    channels = sound.blocks[0].shape[1]
    with soundfile.SoundFile(out, "w", sound.sample_rate, channels, subtype=f"PCM_{BITS}", format="FLAC") as file:
        for block in sound.blocks:
            file.write(np.clip(block, -1.0, full))
    return out.getvalue()

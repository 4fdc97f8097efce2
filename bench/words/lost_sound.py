"""Messages about sound that was lost because the computer was too slow."""

from __future__ import annotations

REMEDY = "close other programs, or choose larger blocks for the sound device"


def lost_text(frames: int, sample_rate: float) -> str:
    """How much was lost: "sound was lost for 12 ms"."""
    seconds = frames / sample_rate
    return f"sound was lost for {f'{seconds:.1f} s' if seconds >= 1.0 else f'{max(1, round(1000 * seconds))} ms'}"

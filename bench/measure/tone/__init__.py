"""Finding and following steady tones, and estimating their level, frequency and phase."""

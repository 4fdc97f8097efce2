"""Finding steady tones in a stream, and the stretches in which each of them is steady."""

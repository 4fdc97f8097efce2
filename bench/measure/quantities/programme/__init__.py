"""Quantities that can be measured from music or speech instead of tones."""

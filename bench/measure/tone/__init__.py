"""Steady tones: following them, and estimating their level, frequency and phase."""

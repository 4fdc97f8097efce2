"""What is done to any signal: weighting, detectors, spectra, blocks."""

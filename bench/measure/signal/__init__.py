"""Processing of any signal: weighting, detectors, spectra, blocks."""

"""Tapebench: a bench companion for lining up analogue tape recorders."""

import os

__version__ = "0.1.0"

# numpy sets threads to matrix products that are too small to gain from them; on the bench they only spin.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

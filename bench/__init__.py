"""Tapebench: a bench companion for lining up analogue tape recorders."""

import os

__version__ = "0.1.0"

# numpy starts threads for matrix products that are too small to gain from them; here they would only spin.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

"""Tapebench: a bench companion for lining up analogue tape recorders."""

__version__ = "0.1.0"

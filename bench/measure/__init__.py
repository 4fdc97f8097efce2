"""Samples in, readings out."""

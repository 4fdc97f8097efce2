"""Ports: sources and destinations of sound behind one protocol."""

"""Ports: where sound comes from and goes to, behind one protocol."""

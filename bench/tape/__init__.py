"""Established tape theory as pure functions: equalisation, fluxivity, losses, geometry and noise reduction."""

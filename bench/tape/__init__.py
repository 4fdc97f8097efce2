"""What the trade knows: equalisation, fluxivity, losses and geometry of tape, as pure functions."""

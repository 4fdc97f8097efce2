"""What a run has done so far, and what follows from it."""

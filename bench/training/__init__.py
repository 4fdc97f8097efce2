"""Training: unattended rehearsals, exercises with hidden faults, and their debriefs."""

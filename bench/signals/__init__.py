"""What is sent to a machine: tones, sequences and the marks that let a capture be found again."""

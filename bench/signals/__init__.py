"""What is sent to a machine: tones, tone sequences, and the start mark that finds a recording again."""

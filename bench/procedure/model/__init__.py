"""What a procedure, its steps and the sheets are, once they were read."""

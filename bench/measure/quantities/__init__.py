"""One module for each quantity, with its meter."""

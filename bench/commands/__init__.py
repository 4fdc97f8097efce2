"""One module for each command of the headless door."""

"""One module for each quantity: a pure function, and a meter that gives the same answer."""

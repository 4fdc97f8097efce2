"""Output of a diagnosis: the page in words, JSON input and output, and a page about each cause."""

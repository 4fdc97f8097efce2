"""A diagnosis for people and programs: the page, the file of readings and its answer, a page for each cause."""

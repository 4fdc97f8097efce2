"""A transfer made with noise reduction out: what is wrong with it taken off, and decoded."""

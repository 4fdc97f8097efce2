"""The input of a diagnosis: readings, unmistakable signs, and what a person saw."""

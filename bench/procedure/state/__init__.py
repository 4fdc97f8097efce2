"""The state of a run: its journal, and what follows from the journal."""

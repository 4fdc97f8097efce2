"""The models of procedures, steps and sheets, after they were read."""

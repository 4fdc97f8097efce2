"""The causes of faults, each with its own prior for a few figures of the model."""

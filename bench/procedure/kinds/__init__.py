"""One activity for each kind of step."""

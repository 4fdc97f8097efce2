"""What happens at each kind of step."""

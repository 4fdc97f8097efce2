"""What stands between a raw reading and the one that is judged: reference tape, interface, certificate."""

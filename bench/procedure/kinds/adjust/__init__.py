"""Steps at which a trimmer is turned: live, by rounds, or by a ladder of positions."""

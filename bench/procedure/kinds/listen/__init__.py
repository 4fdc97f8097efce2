"""Steps that listen to a list of tones: from the reference tape, or recorded and replayed."""

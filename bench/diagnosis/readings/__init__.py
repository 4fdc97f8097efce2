"""Readings as the diagnosis takes them: what each is of, what signs tell, what a person saw."""

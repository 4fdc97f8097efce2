"""How facts are put into words, each in one place: for screen, plain text, report and commands."""

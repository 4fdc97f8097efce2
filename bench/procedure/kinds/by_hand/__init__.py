"""Steps at which the person works or answers: by hand, entry, decision, question, sign-off."""

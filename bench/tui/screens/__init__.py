"""Whole screens: the chooser, the bench, and the dialogs over them."""

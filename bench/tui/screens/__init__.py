"""Whole screens: the chooser, the bench, and the small sheets laid over them."""

"""Captures as rough as real tape, and what is true of each.

Everything here is written from the trade alone and imports nothing of `bench`: neither its practice machine nor its
detectors, so that what measures and what is measured share no mistake. Where the laws of real tape are not known
(spectra of wander, shapes of dropouts), each capture draws one of several.
"""

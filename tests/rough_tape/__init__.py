"""Captures as rough as real tape, and the true values of each.

Everything here is written from knowledge of the trade and imports nothing from `bench`, neither its practice machine
nor its detectors, so that the meters and the captures share no mistake. Where the laws of real tape are not known
(spectra of wander, shapes of dropouts), each capture draws one of several.
"""

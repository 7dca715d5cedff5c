"""Numbers only: no Django, no files, no clock.

Each module states shapes, units, errors and source.
"""

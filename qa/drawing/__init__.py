"""A joint as a scene of plain shapes; one renderer to SVG, one to a PDF canvas.

Coordinates of a scene are its own units with y down. The one table in `style` gives
the screen its classes and the paper its colors, so that they cannot disagree.
"""

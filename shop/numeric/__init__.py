"""Numbers of the shop floor: no Django, no files, no clock.

Status words in docstrings and beside data: "text read", "second-hand", "from memory",
"common practice" (no source), "computed" (follows from the formula).
"""

"""What the steps of a strip are called (see ``strips``)."""

TIE, TIE_COUNTED, LEAVE, ENTER, ROW = range(5)
FAR = 1e9
"""Costs of what may not be. Larger than any real difference."""

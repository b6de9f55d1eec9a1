"""A band in words, and the words tied again."""

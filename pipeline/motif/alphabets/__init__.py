"""Letters drawn cell by cell, one text file a height."""

"""What a maker asks for, in values."""

"""Bands of colour blocks, and borders of them around a picture."""

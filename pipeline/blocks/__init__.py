"""Bands of colour blocks."""

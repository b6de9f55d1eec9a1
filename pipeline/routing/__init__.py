"""Finds which strand goes where, so that the band shows the picture as closely as it can."""

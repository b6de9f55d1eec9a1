"""The threads that a maker owns: their colours, kinds and lengths, and which of them a picture wants."""

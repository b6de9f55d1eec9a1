"""Pictures and letters, and the colours that they ask of each cell."""

"""Thread use: from the gauge to who ties, where pieces join, how long each is cut and from which skein."""

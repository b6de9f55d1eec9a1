"""One module an output; each renders a pattern to text or bytes and writes nothing itself."""

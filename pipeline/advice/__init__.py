"""What would help, by planning again under a change."""

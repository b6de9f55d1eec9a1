"""What a band really shows, and why not; shares no code with the router."""

"""The core model: knots, working orders as a network, the pattern document, and a pattern tied again."""

"""A motif in its place on the band: what each knot should show, and the question for the router."""

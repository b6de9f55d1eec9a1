"""Many orders from one list: each becomes a result folder of its own, and all of them one cutting plan."""

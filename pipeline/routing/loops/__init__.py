"""Inner loops, compiled by numba when first called; imported only where a question needs them."""

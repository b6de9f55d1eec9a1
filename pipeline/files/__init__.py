"""Files from outside and files for the maker: reading within bounds, writing whole or not at all."""

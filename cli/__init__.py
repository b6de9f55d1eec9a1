"""The command line of Hitchgrid."""

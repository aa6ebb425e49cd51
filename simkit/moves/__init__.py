"""Moves: what the programs make the cutter do, as columns of one table."""

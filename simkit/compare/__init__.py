"""Compare: deviation, reach, walls and the two sides, as fields and numbers without judgement."""

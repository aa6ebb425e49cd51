"""Stock: the z-buffer of what is left of the blank, and the cut that lowers it."""

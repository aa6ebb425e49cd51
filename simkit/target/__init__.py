"""Target: the wanted part as a mesh, and its upper and lower envelopes over a lattice."""

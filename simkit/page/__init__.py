"""`simkit page`: a local page on which programs, a mesh and a job file are dropped and checked."""

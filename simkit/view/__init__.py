"""Looking at a job: the field at any line of its programs, a film of the cutting, the window."""

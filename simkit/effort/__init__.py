"""What the work asks of machine and cutters: how long each move takes, and what it bites off."""

"""Machine: what happens while it runs, judged at the moment it happens (contacts)."""

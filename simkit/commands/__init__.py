"""The commands of the command line, one module each: its words, and what it does with them."""

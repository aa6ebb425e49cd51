"""The job: blank, cutters, setups, target, dowels and limits, read from a TOML file."""

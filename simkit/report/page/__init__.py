"""The report to keep: one HTML file that needs nothing else."""

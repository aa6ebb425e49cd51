"""Findings: what a person must look at, one module per kind, one registry."""

"""Running checks for a build: many at once, kept results, verdicts against a stored one."""

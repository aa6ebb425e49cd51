"""The field of a check as a file: kept beside its result, and taken up again by a later check."""

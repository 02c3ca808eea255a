"""Playing a rule through a season against a hidden truth."""

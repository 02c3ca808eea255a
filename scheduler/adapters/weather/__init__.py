"""Weather from outside: files, checks of what they say, and a view of the series."""

"""A season read back: windows of every flush, why they passed, what they cost."""

"""Pages and the machine-readable answer: a morning, a bed, the parameter sources."""

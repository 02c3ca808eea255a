"""From models to decisions: members, outlooks, order of the day."""

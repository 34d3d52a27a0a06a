"""Jobs: one target species at one property, opened and closed by a person."""

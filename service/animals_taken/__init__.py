"""Animals taken: what was caught in a period, as authorities ask for it, each figure with its catches."""

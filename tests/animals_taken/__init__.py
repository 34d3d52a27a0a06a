"""Animals taken: the figures of a report, and each catch once."""

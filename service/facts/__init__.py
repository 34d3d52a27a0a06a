"""Facts: the vocabulary of what a visit states."""

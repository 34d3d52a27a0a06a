"""Benches: what Setbook does in a second beside what the machine could do at best, in the same run."""

"""Deadlines: what is due when and why, and the clock that says so."""

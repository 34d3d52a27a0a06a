"""Conflicts: facts that do not fit together, kept as they were stated and listed for the office."""

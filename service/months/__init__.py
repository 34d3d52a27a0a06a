"""The manager's month: what was done where, each figure with the facts behind it."""

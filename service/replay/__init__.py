"""Replay: a deadline worked out again from the stated facts alone, and held against what the book says."""

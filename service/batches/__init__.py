"""Batches: many lines in one request, as a phone sends its queue."""

"""Amendments: one fact of a visit changed in place, refused bodies mended, and batches of lines."""

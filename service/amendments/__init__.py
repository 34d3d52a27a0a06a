"""Amendments: one fact of a visit changed in place, and refused bodies mended."""

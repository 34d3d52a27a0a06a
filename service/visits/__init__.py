"""Visits: one body with all facts; this slice writes every fact table."""

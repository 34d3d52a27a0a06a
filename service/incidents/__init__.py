"""Incidents: what went wrong and had to be looked into."""

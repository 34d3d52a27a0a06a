"""Permits: what an authority allowed, for which animals, by which mechanisms, until when."""

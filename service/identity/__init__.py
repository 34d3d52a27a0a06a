"""Identity: businesses, their workers and their keys."""

"""Restrictions: mechanisms and species that are not permitted or protected somewhere, with their citations."""

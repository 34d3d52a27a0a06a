"""Upkeep: what the turf got on its own, mowing above all."""

"""Signs: what an animal left to be seen, how long it lies on turf, and what follows from clearing it."""

"""The lawn clock: turf that soil or a cover lies on, by when it comes off, and what became of the turf."""

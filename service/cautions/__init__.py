"""Cautions: what is to be heeded where traps stand, by mechanism, animal and hazard, each with its source."""

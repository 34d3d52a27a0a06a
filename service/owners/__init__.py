"""Owners: a nested id belongs to one visit, or to the stand-alone fact itself, for ever."""

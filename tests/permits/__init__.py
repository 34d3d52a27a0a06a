"""Permits: reporting years, what is due, what the clock says."""

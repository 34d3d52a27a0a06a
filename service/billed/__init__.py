"""Billed: which versions of service records a billing system took into an invoice; it stands beside the record."""

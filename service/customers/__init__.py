"""Customers: whom the work is done for."""

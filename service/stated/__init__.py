"""Stated things: versioned rows that are amended with If-Match and keep their history."""

"""Catches: every animal caught, found or taken, as read."""

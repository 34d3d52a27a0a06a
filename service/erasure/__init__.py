"""Erasure: what is held on a person, handed out, and taken out of the book while what was done stays provable."""

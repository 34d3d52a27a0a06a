"""Signatures: how what is issued is signed, with which keys, and how a reader checks it."""

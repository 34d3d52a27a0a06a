"""Sealed months: a Merkle root over the latest versions of a month's records, signed, so that leaving one out shows."""

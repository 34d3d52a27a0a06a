"""Deadlines replayed from what is stated, and by an auditor from what they say of themselves."""

"""Drafts: records of visits that are not issued yet, each with why and until when."""

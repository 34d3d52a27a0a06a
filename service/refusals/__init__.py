"""Refusals: bodies of visits that were refused are kept, so that nothing a phone sent is lost."""

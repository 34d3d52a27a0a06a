"""Service records: what the customer gets of a visit, numbered, versioned and never rewritten."""

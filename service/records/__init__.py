"""Service records: what the customer gets of a visit or of a month, numbered, versioned and never rewritten."""

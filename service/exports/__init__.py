"""Service records going out: pages, whole exports, and the cursor that sees every version once."""

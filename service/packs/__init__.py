"""Rule packs: dated, cited readings of law and practice, shipped or the business's own."""

"""Methods: the register that says of each whether it breaks the claim to have used no pesticide."""

"""Keys: from the header of a request to who is calling."""

"""Events: the log of what was told, endpoints, and the courier that delivers."""

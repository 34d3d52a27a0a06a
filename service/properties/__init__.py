"""Properties: places where work is done, their features, and whose they were when."""

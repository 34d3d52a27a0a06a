"""What wakes the ticks; remembers nothing, since all that is due is a row."""

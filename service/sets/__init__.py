"""Sets: traps at one spot, what state they are in, how long they fished and when to look at them next."""

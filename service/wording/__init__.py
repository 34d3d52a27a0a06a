"""How a page says what records state: contents read tolerantly, and closed lists in words."""

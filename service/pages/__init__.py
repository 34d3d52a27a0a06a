"""A service record as a page: what the customer keeps, on a screen and on paper."""

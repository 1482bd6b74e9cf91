"""A surface's state from its visits: height of power, rates, pits."""

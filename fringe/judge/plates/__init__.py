"""A plate's radius and form, from its own visits."""

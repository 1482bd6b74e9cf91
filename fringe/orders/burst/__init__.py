"""Several photographs of one contact, taken with unknown steps, read together."""

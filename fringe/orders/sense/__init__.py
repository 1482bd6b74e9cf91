"""Sense of contact, from the contrast of one photograph or from two photographs."""

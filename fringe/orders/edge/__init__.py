"""Find the edge of the work in a photograph, and place it to a fraction of a pixel."""

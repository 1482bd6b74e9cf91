"""What to do next: which stage, how long, which piece on top."""

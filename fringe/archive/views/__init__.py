"""What the rest of the program asks an archive for."""

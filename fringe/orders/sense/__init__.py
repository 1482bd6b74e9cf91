"""Where the contact is: told by contrast, or by two photographs."""

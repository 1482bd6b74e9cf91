"""Glass that comes to temperature."""

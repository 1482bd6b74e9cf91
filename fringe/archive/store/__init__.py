"""An archive's files: surfaces and sessions, written once, read back and proven."""

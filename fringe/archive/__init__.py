"""Surfaces and sessions on disk: one HDF5 file a session, written once."""

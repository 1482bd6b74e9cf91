"""Decisions: uncertainty, tolerance, verdict, progress, next step."""

"""Uncertainty: budgets, distributions, evidence of several sources together."""

"""Simulated fleets with known truth."""

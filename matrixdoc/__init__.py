"""Reason backward from what a coin-operated game shows to the part that failed."""

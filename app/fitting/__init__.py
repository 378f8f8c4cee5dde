"""Trim to the shoe, fit check, wearing in, review, adjustment."""

"""Casts, scans and positives: arriving, checking, measuring."""

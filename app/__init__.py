"""Pairtrail: follows every pair of custom foot orthoses from the order to a settled wearer."""

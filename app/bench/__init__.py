"""Stages, visits, moves: the machine of the trail, and the lab's scan station, parcels and materials."""

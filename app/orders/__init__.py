"""Patients, prescriptions with their versions, and the checks on them."""

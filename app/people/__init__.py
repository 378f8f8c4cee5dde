"""The lab and its settings, clinics, staff, sign-in and rights."""

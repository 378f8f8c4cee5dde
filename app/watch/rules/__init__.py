"""What deserves a look: limits, the kinds of flags, and one pure function for each kind. Facts in, a flag or none out.

Where the facts come from is the business of app/watch/queries.py.
"""

"""The machine of the trail as data: stages and routes, acts and who owns them, and what each act does to a pair.

Pure: a state and a request go in, a new state or a refusal comes out. What the clinic's side adds (a passing fit
check, a review) is decided in app/fitting; what is stored is written in app/bench/actions.py.
"""

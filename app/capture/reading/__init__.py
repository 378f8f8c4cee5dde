"""Reading files that came from outside, one file a kind: what each is by its content, and what of it is kept."""

"""Who did and saw what; append-only."""

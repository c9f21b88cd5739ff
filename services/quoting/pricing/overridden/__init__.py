"""What an estimator set instead of figures that were worked out: where it stands, what it amends, what would stand there without it."""

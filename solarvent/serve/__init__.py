"""The page on this machine: a plan by picking and typing, its answer at once; it decides nothing of its own."""

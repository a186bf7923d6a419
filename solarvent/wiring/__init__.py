"""How things are joined: harness, polarity, pairing, and the circuits that come of it."""

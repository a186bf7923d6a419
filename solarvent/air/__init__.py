"""Air that moves: fan curves, openings, stack, wind and the flow network."""

"""Questions asked of the chain: sizing, air under a named sky, orientation, pairing, comparing."""

"""Heat in a house: light kept, heat balance, moisture, masses and heaters."""

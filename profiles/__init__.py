"""The parts library that ships with solarvent: data files only."""

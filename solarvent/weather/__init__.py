"""Light and air at a place, hour by hour: sun, sky, clouds, climates, weather files and their fetch."""

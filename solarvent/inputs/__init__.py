"""What a person writes or downloads: plans, parts, wiring and weather, read and checked."""

"""Call sheets, the key of blind codes, matching with targets, the three tables."""

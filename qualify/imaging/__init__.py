"""Images from recordings: every mode from the same full matrix."""

"""The desk after milking: every doubtful entry with its sound, and one key to settle it."""

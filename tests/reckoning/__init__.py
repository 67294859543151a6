"""The tests of the reckoning."""

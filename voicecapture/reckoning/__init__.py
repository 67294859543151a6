"""From results to dates, sires, groups and herd figures. Pure functions; no file and no clock."""

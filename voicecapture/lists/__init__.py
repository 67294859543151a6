"""The farm's lists: herd, matings and calvings, CSV files as farm software and spreadsheets write them."""

"""Packages from folders and zips; the board cache."""

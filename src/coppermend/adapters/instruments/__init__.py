"""Meters and scopes."""

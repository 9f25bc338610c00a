"""Voices that speak a sentence without a browser's help."""

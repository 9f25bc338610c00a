"""Readings and waves: what instruments say, measured, with its uncertainty."""

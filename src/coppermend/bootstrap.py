"""Joins adapters to services: the only place that builds adapters."""

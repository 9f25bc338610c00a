"""The version of what a graph's build gives, apart from the builder so that a kept graph is read without it."""

GRAPH_VERSION = 16
"""Raise when a build gives another graph for the same board: cached graphs of other versions are not read."""

"""Readings compared with the power off: like pins against each other, and a board against a good one or itself, by a statistic for small samples."""

"""Coppermend: find every broken connection on a vintage computer board, mend it, prove it, hand over a record."""

__version__ = "0.1.0"

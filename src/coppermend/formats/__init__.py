"""Bytes in, core values out: fabrication files and netlists."""

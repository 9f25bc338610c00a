"""Use cases, one small function each, and the ports they speak through."""

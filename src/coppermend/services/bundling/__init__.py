"""Cases, boards and whole stores as one open file: how it is laid out, written, verified and taken in."""

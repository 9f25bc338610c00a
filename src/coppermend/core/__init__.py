"""The pure core: values in, values out. No files, clock, randomness or logging."""

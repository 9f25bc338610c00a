"""The device book: chips and their pins."""

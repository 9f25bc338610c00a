"""Patch wires and, later, removal plans and alloys."""

"""The board as fabricated: layers, copper, holes, parts, pins, nets."""

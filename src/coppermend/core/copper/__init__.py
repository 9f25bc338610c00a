"""The copper graph: sites where a connection can fail, points where a tip can touch, and what connects them."""

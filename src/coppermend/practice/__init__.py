"""The practice patient: a simulated broken board that answers checks and never shows its truth."""

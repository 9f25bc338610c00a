"""How a whole board warms on a preheater and under hot air, and how it cools: a transient thermal model that a thermocouple can correct."""

"""Shapes of copper and silkscreen as exact skeletons grown by a radius. Knows no board."""

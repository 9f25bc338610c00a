"""Thermal pictures: true temperatures from apparent ones, the picture laid on the board, temperature per part, verdict against what is expected."""

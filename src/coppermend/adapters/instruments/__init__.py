"""Instruments over SCPI: real ones by PyVISA, a simulated one, a recorded one. All three are links that the same SCPI speaker uses."""

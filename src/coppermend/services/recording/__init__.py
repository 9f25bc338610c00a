"""The record of a case: what it holds (model), how it is gathered, its maps, its HTML."""

"""Benchmarks: one module each with ``run(arguments) -> dict``. ``python -m benchmarks NAME --json`` runs one."""

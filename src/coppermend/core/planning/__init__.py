"""Which check next: rounds, localisation, isolation, cost in modelled seconds, stop rule."""

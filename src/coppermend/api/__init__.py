"""HTTP routes, schemas, errors, live updates; serves the page."""

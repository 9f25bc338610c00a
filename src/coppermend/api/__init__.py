"""HTTP routes of the bench server: the same use cases as the command line, as JSON, and the page that calls them."""

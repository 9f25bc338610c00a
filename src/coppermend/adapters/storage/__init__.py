"""The case store on SQLAlchemy."""

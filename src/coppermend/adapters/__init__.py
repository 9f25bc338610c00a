"""The outside world behind the ports of the services."""

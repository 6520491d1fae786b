"""The way of an export from a source into the readings table."""

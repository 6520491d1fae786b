"""Where things are kept: the SQL database, the readings tables and the exports."""

"""The Alembic environment: how the SQL tables came to be, step by step."""

"""Runs the migrations on the connection that the store hands over."""

from alembic import context

from service.store.ledger_tables import fan_days

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=fan_days.metadata,
    render_as_batch=True,  # SQLite alters a table by copying it
    transaction_per_migration=False,
)
context.run_migrations()

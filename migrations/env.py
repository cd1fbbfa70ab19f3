"""Runs the migrations on the connection that darklib hands over, inside the transaction it has begun."""

from alembic import context

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=None, render_as_batch=True)
# No transaction is begun or ended here: the tables and the row that names their revision change together or not at all.
with context.begin_transaction():
    context.run_migrations()

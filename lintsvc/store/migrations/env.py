"""Run by Alembic. The connection comes from `Database.migrate`."""

from alembic import context

from lintsvc.store.tables import metadata

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()

"""What Alembic runs: the steps, on the connection and in the transaction it was handed."""

from alembic import context

from spc.store.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
context.run_migrations()

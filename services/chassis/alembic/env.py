"""Run by Alembic for each part that has tables: the connection and the schema come from the caller."""

from alembic import context

connection = context.config.attributes["connection"]
schema = context.config.attributes["schema"]
context.configure(connection=connection, version_table_schema=schema, transaction_per_migration=False)
with context.begin_transaction():
    context.run_migrations()

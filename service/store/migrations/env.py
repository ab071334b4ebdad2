"""Run migrations on the connection that the store hands over; there is no other way in."""

from alembic import context

from service.store.tables import Row

connection = context.config.attributes["connection"]

context.configure(
    connection=connection,
    target_metadata=Row.metadata,
    render_as_batch=connection.dialect.name == "sqlite",
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()

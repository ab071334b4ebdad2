"""PostgreSQL databases of a test's own, where a server answers."""

from tests.store.conftest import postgresql_template, postgresql_url

__all__ = ["postgresql_template", "postgresql_url"]

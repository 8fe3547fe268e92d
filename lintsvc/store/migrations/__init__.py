"""Alembic migrations of the records. `Database.migrate` runs them; revisions are numbered."""

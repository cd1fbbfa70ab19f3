"""The catalogue: rows that can be made anew from the journal. The only room that knows SQLAlchemy and Alembic."""

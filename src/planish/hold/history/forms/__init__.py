"""The forms that the tables of a history have had, and the steps from each to the next (alembic reads ``versions``)."""

"""Each frame's dark ratio: its hot-pixel signal over a set of darks. Derived, like the temperature from it."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("frames", sa.Column("dark_ratio", sa.Text(), nullable=True))

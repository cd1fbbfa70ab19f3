"""When a second copy of the library was last found whole; and frames in place are counted quickly."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "copies_checked",
        sa.Column("pk", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("copy", sa.Text(), nullable=False),
        sa.Column("frames", sa.BigInteger(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("run", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("pk", name="pk_copies_checked"),
        sa.UniqueConstraint("copy", name="uq_copies_checked_copy"),
    )
    op.create_index("ix_frames_in_place", "frames", ["in_place"], sqlite_where=sa.text("in_place = 1"))

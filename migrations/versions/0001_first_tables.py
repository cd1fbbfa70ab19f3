"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer, "sqlite")
KINDS = "kind IN ('light', 'dark', 'bias', 'flat')"


def upgrade() -> None:
    op.create_table(
        "about",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_about"),
    )
    op.create_table(
        "bodies",
        sa.Column("pk", KEY, nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("make", sa.Text(), nullable=True),
        sa.Column("model", sa.Text(), nullable=True),
        sa.Column("serial", sa.Text(), nullable=True),
        sa.Column("joined_to", KEY, nullable=True),
        sa.PrimaryKeyConstraint("pk", name="pk_bodies"),
        sa.ForeignKeyConstraint(["joined_to"], ["bodies.pk"], name="fk_bodies_joined_to"),
        sa.UniqueConstraint("id", name="uq_bodies_id"),
        sa.UniqueConstraint("key", name="uq_bodies_key"),
    )
    op.create_table(
        "body_changes",
        sa.Column("pk", KEY, nullable=False),
        sa.Column("body_id", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("run", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("pk", name="pk_body_changes"),
        sa.CheckConstraint(
            "what IN ('named', 'joined', 'remapped', 'cleaned', 'firmware', 'modified')", name="ck_body_changes_what"
        ),
    )
    op.create_index("ix_body_changes_body", "body_changes", ["body_id"])
    op.create_table(
        "measurements",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("version", sa.BigInteger(), nullable=False),
        sa.Column("figures", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", "version", name="pk_measurements"),
    )
    op.create_table(
        "readouts",
        sa.Column("pk", KEY, nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("gain", sa.Double(), nullable=True),
        sa.Column("iso", sa.BigInteger(), nullable=True),
        sa.Column("offset", sa.Double(), nullable=True),
        sa.Column("binning_x", sa.BigInteger(), nullable=False),
        sa.Column("binning_y", sa.BigInteger(), nullable=False),
        sa.Column("readout_mode", sa.Text(), nullable=True),
        sa.Column("width", sa.BigInteger(), nullable=True),
        sa.Column("height", sa.BigInteger(), nullable=True),
        sa.Column("origin_x", sa.BigInteger(), nullable=True),
        sa.Column("origin_y", sa.BigInteger(), nullable=True),
        sa.Column("cfa", sa.Text(), nullable=True),
        sa.Column("row_order", sa.Text(), nullable=True),
        sa.Column("bits", sa.BigInteger(), nullable=True),
        sa.Column("dn_step", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("pk", name="pk_readouts"),
        sa.UniqueConstraint("key", name="uq_readouts_key"),
    )
    op.create_table(
        "runs",
        sa.Column("pk", KEY, nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("command", sa.Text(), nullable=True),
        sa.Column("arguments", sa.Text(), nullable=True),
        sa.Column("started_at", sa.BigInteger(), nullable=True),
        sa.Column("ended_at", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Text(), nullable=True),
        sa.Column("host", sa.Text(), nullable=True),
        sa.Column("counts", sa.Text(), nullable=True),
        sa.Column("journal_file", sa.Text(), nullable=False),
        sa.Column("journal_offset", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("pk", name="pk_runs"),
        sa.UniqueConstraint("journal_file", name="uq_runs_file"),
        sa.UniqueConstraint("id", name="uq_runs_id"),
    )
    op.create_table(
        "set_aside",
        sa.Column("pk", KEY, nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("source_path", sa.Text(), nullable=False),
        sa.Column("kept_path", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("version", sa.Text(), nullable=False),
        sa.Column("run", sa.Text(), nullable=False),
        sa.Column("settled", sa.Boolean(create_constraint=True, name="ck_set_aside_settled"), nullable=False),
        sa.PrimaryKeyConstraint("pk", name="pk_set_aside"),
    )
    op.create_index("ix_set_aside_sha256", "set_aside", ["sha256"])
    op.create_index("ix_set_aside_source", "set_aside", ["source_path"])
    op.create_table(
        "sources",
        sa.Column("pk", KEY, nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("source_path", sa.Text(), nullable=False),
        sa.Column("modified", sa.BigInteger(), nullable=False),
        sa.Column("run", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("pk", name="pk_sources"),
    )
    op.create_index("ix_sources_path", "sources", ["source_path"])
    op.create_index("ix_sources_sha256", "sources", ["sha256"])
    op.create_table(
        "statements",
        sa.Column("pk", KEY, nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("statement", sa.Text(), nullable=False),
        sa.Column("field", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("old", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("run", sa.Text(), nullable=False),
        sa.Column("undone_by", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("pk", name="pk_statements"),
        sa.UniqueConstraint("sha256", "statement", name="uq_statements_frame"),
    )
    op.create_index("ix_statements_statement", "statements", ["statement"])
    op.create_table(
        "train_changes",
        sa.Column("pk", KEY, nullable=False),
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("run", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("pk", name="pk_train_changes"),
    )
    op.create_index("ix_train_changes_fingerprint", "train_changes", ["fingerprint"])
    op.create_table(
        "trains",
        sa.Column("pk", KEY, nullable=False),
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("pk", name="pk_trains"),
        sa.UniqueConstraint("fingerprint", name="uq_trains_fingerprint"),
    )
    op.create_table(
        "series",
        sa.Column("pk", KEY, nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("common_key", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("body", KEY, nullable=True),
        sa.Column("readout", KEY, nullable=False),
        sa.Column("exposure_us", sa.BigInteger(), nullable=True),
        sa.Column("night", sa.Text(), nullable=True),
        sa.Column("filter", sa.Text(), nullable=True),
        sa.Column("train", KEY, nullable=True),
        sa.Column("target", sa.Text(), nullable=True),
        sa.Column("target_key", sa.Text(), nullable=True),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.Column("retired_count", sa.BigInteger(), nullable=False),
        sa.Column("t_min", sa.BigInteger(), nullable=True),
        sa.Column("t_median", sa.Double(), nullable=True),
        sa.Column("t_max", sa.BigInteger(), nullable=True),
        sa.Column("t_unknown", sa.BigInteger(), nullable=False),
        sa.Column("first_at", sa.BigInteger(), nullable=True),
        sa.Column("last_at", sa.BigInteger(), nullable=True),
        sa.Column("exposure_sum_us", sa.BigInteger(), nullable=False),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("pk", name="pk_series"),
        sa.CheckConstraint("count >= 0 AND retired_count >= 0 AND t_unknown >= 0", name="ck_series_counts"),
        sa.CheckConstraint(KINDS, name="ck_series_kind"),
        sa.ForeignKeyConstraint(["body"], ["bodies.pk"], name="fk_series_body"),
        sa.ForeignKeyConstraint(["readout"], ["readouts.pk"], name="fk_series_readout"),
        sa.ForeignKeyConstraint(["train"], ["trains.pk"], name="fk_series_train"),
        sa.UniqueConstraint("id", name="uq_series_id"),
        sa.UniqueConstraint("key", name="uq_series_key"),
    )
    op.create_index("ix_series_common", "series", ["common_key"])
    op.create_index("ix_series_kind_night", "series", ["kind", "night"])
    op.create_index(
        "ix_series_stock",
        "series",
        [
            "kind",
            "body",
            "exposure_us",
            "t_min",
            "t_max",
            "t_unknown",
            "count",
            "first_at",
            "last_at",
            "train",
            "filter",
            "id",
        ],
    )
    op.create_index("ix_series_target", "series", ["target_key", "night"])
    op.create_index("ix_series_train", "series", ["train", "kind", "filter", "night"])
    op.create_table(
        "frames",
        sa.Column("pk", KEY, nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("path", sa.Text(), nullable=False),
        sa.Column("in_place", sa.Boolean(create_constraint=True, name="ck_frames_in_place"), nullable=False),
        sa.Column("source_path", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("kind_from", sa.Text(), nullable=True),
        sa.Column("kind_confidence", sa.Double(), nullable=False),
        sa.Column("body", KEY, nullable=True),
        sa.Column("readout", KEY, nullable=False),
        sa.Column("black_dn", sa.Double(), nullable=True),
        sa.Column("white_dn", sa.Double(), nullable=True),
        sa.Column("cfa_rows", sa.BigInteger(), nullable=True),
        sa.Column("cfa_columns", sa.BigInteger(), nullable=True),
        sa.Column("series", KEY, nullable=False),
        sa.Column("exposure_us", sa.BigInteger(), nullable=True),
        sa.Column("temperature_c100", sa.BigInteger(), nullable=True),
        sa.Column("temperature_error_c100", sa.BigInteger(), nullable=True),
        sa.Column("temperature_from", sa.Text(), nullable=True),
        sa.Column("set_temperature_c100", sa.BigInteger(), nullable=True),
        sa.Column("filter", sa.Text(), nullable=True),
        sa.Column("train", KEY, nullable=True),
        sa.Column("target", sa.Text(), nullable=True),
        sa.Column("taken_at", sa.BigInteger(), nullable=True),
        sa.Column("order_us", sa.BigInteger(), nullable=False),
        sa.Column("time_from", sa.Text(), nullable=True),
        sa.Column("night", sa.Text(), nullable=True),
        sa.Column("combined", sa.Text(), nullable=True),
        sa.Column("median_dn", sa.Double(), nullable=True),
        sa.Column("mad_dn", sa.Double(), nullable=True),
        sa.Column("saturated_fraction", sa.Double(), nullable=True),
        sa.Column(
            "in_camera_subtraction",
            sa.Boolean(create_constraint=True, name="ck_frames_in_camera_subtraction"),
            nullable=True,
        ),
        sa.Column("rotator_deg", sa.Double(), nullable=True),
        sa.Column("focuser_position", sa.Double(), nullable=True),
        sa.Column("warnings", sa.Text(), nullable=True),
        sa.Column("retired", sa.Boolean(create_constraint=True, name="ck_frames_retired"), nullable=False),
        sa.Column("run", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("pk", name="pk_frames"),
        sa.CheckConstraint(KINDS, name="ck_frames_kind"),
        sa.CheckConstraint("kind_from IN ('user', 'header', 'path', 'pixels')", name="ck_frames_kind_from"),
        sa.CheckConstraint("size >= 0", name="ck_frames_size"),
        sa.CheckConstraint(
            "temperature_from IN ('user', 'header', 'makernote', 'pixels')", name="ck_frames_temperature_from"
        ),
        sa.ForeignKeyConstraint(["body"], ["bodies.pk"], name="fk_frames_body"),
        sa.ForeignKeyConstraint(["readout"], ["readouts.pk"], name="fk_frames_readout"),
        sa.ForeignKeyConstraint(["series"], ["series.pk"], name="fk_frames_series"),
        sa.ForeignKeyConstraint(["train"], ["trains.pk"], name="fk_frames_train"),
        sa.UniqueConstraint("id", name="uq_frames_id"),
        sa.UniqueConstraint("sha256", name="uq_frames_sha256"),
    )
    op.create_index("ix_frames_body", "frames", ["body", "kind", "order_us"])
    op.create_index("ix_frames_night", "frames", ["night", "kind"])
    op.create_index("ix_frames_order", "frames", ["order_us", "id"])
    op.create_index("ix_frames_path", "frames", ["path"])
    op.create_index(
        "ix_frames_series", "frames", ["series", "retired", "temperature_c100", "taken_at", "exposure_us", "size"]
    )
    op.create_index(
        "ix_frames_undecided",
        "frames",
        ["order_us", "id"],
        sqlite_where=sa.text("kind IS NULL"),
        postgresql_where=sa.text("kind IS NULL"),
    )
    op.create_table(
        "records",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_records"),
        sa.ForeignKeyConstraint(["sha256"], ["frames.sha256"], name="fk_records_frame"),
    )

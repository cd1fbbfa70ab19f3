"""The tables. Integers for what is compared: exposures in microseconds, temperatures in hundredths of a degree C,
instants in microseconds since 1970 UTC; nights are ISO dates. Every constraint has a name.

A unique key over columns that may be NULL does not hold, so readouts, trains and series have a canonical `key`.
What is said of a frame (statements, sources, measurements, inferences) refers to it by SHA-256 and not by row: where
two runs overlap, a journal replayed run by run may say something of a frame before the frame itself is there.
"""

from typing import Any, cast

from sqlalchemy import Boolean, CheckConstraint, ForeignKey, Index, MetaData, Table, UniqueConstraint, text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from darklib.catalogue.columns import KEY, Json, JsonValue, Real, Whole, Words

STOCK = (
    *("kind", "body", "exposure_us", "t_min", "t_max", "t_unknown", "count"),
    *("first_at", "last_at", "train", "filter", "id"),
)
KINDS = "kind IN ('light', 'dark', 'bias', 'flat')"


class Base(DeclarativeBase):
    """All tables of the catalogue."""

    metadata = MetaData(naming_convention={"pk": "pk_%(table_name)s"})


def _flag(name: str, *, default: bool | None = None) -> Any:
    # Databases without a boolean type need the check to keep other numbers out.
    return mapped_column(Boolean(create_constraint=True, name=name), nullable=default is None, default=default)


class AboutRow(Base):
    """Facts about the catalogue itself: which program made it and last changed its tables."""

    __tablename__ = "about"
    name: Mapped[str] = mapped_column(Words, primary_key=True)
    value: Mapped[str] = mapped_column(Words)


class RunRecord(Base):
    """One run that changed the library, and how far its journal file is applied."""

    __tablename__ = "runs"
    __table_args__ = (UniqueConstraint("id", name="uq_runs_id"), UniqueConstraint("journal_file", name="uq_runs_file"))
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    id: Mapped[str] = mapped_column(Words)
    command: Mapped[str | None] = mapped_column(Words)
    arguments: Mapped[Any] = mapped_column(Json, nullable=True)
    started_at: Mapped[int | None] = mapped_column(Whole)
    ended_at: Mapped[int | None] = mapped_column(Whole)
    version: Mapped[str | None] = mapped_column(Words)
    host: Mapped[str | None] = mapped_column(Words)
    counts: Mapped[Any] = mapped_column(Json, nullable=True)
    journal_file: Mapped[str] = mapped_column(Words)
    journal_offset: Mapped[int] = mapped_column(Whole)


class BodyRecord(Base):
    """One camera. A joined one leads to the body it turned out to be."""

    __tablename__ = "bodies"
    __table_args__ = (UniqueConstraint("key", name="uq_bodies_key"), UniqueConstraint("id", name="uq_bodies_id"))
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    id: Mapped[str] = mapped_column(Words)
    key: Mapped[str] = mapped_column(Words)
    label: Mapped[str] = mapped_column(Words)
    make: Mapped[str | None] = mapped_column(Words)
    model: Mapped[str | None] = mapped_column(Words)
    serial: Mapped[str | None] = mapped_column(Words)
    joined_to: Mapped[int | None] = mapped_column(KEY, ForeignKey("bodies.pk", name="fk_bodies_joined_to"))


class BodyChangeRecord(Base):
    """What the user said of a body. `named`: note is the label; `joined`: note is the id of the body it belongs to."""

    __tablename__ = "body_changes"
    __table_args__ = (
        CheckConstraint(
            "what IN ('named', 'joined', 'remapped', 'cleaned', 'firmware', 'modified')", name="ck_body_changes_what"
        ),
        Index("ix_body_changes_body", "body_id"),
    )
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    body_id: Mapped[str] = mapped_column(Words)
    what: Mapped[str] = mapped_column(Words)
    note: Mapped[str] = mapped_column(Words)
    at: Mapped[int] = mapped_column(Whole)
    run: Mapped[str] = mapped_column(Words)


class ReadoutRecord(Base):
    """What must be equal before two frames can be compared. key: the readout's own key."""

    __tablename__ = "readouts"
    __table_args__ = (UniqueConstraint("key", name="uq_readouts_key"),)
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    key: Mapped[str] = mapped_column(Words)
    gain: Mapped[float | None] = mapped_column(Real)
    iso: Mapped[int | None] = mapped_column(Whole)
    offset: Mapped[float | None] = mapped_column(Real)
    binning_x: Mapped[int] = mapped_column(Whole)
    binning_y: Mapped[int] = mapped_column(Whole)
    readout_mode: Mapped[str | None] = mapped_column(Words)
    width: Mapped[int | None] = mapped_column(Whole)
    height: Mapped[int | None] = mapped_column(Whole)
    origin_x: Mapped[int | None] = mapped_column(Whole)
    origin_y: Mapped[int | None] = mapped_column(Whole)
    cfa: Mapped[str | None] = mapped_column(Words)
    row_order: Mapped[str | None] = mapped_column(Words)
    bits: Mapped[int | None] = mapped_column(Whole)
    dn_step: Mapped[int | None] = mapped_column(Whole)


class TrainRecord(Base):
    """One optical train, by its first description: others are compared with that, so that tolerances do not chain."""

    __tablename__ = "trains"
    __table_args__ = (UniqueConstraint("fingerprint", name="uq_trains_fingerprint"),)
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    fingerprint: Mapped[str] = mapped_column(Words)
    label: Mapped[str] = mapped_column(Words)
    facts: Mapped[Any] = mapped_column(JsonValue)


class TrainChangeRecord(Base):
    """A train was taken apart, rotated or cleaned."""

    __tablename__ = "train_changes"
    __table_args__ = (Index("ix_train_changes_fingerprint", "fingerprint"),)
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    fingerprint: Mapped[str] = mapped_column(Words)
    note: Mapped[str] = mapped_column(Words)
    at: Mapped[int] = mapped_column(Whole)
    run: Mapped[str] = mapped_column(Words)


class SeriesRecord(Base):
    """Frames of one kind, body, readout, exposure, night, filter, train and target, and their figures.

    common_key: all that defines the series but its exposure. count, t_*, first_at, last_at, exposure_sum_us are of the
    frames that are not retired; bytes is of all.
    """

    __tablename__ = "series"
    __table_args__ = (
        UniqueConstraint("id", name="uq_series_id"),
        UniqueConstraint("key", name="uq_series_key"),
        CheckConstraint(KINDS, name="ck_series_kind"),
        CheckConstraint("count >= 0 AND retired_count >= 0 AND t_unknown >= 0", name="ck_series_counts"),
        Index("ix_series_common", "common_key"),
        Index("ix_series_kind_night", "kind", "night"),
        # Holds all that a search for calibration frames looks at, so that only the rows it finds are read.
        Index("ix_series_stock", *STOCK),
        Index("ix_series_train", "train", "kind", "filter", "night"),
        Index("ix_series_target", "target_key", "night"),
    )
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    id: Mapped[str] = mapped_column(Words)
    key: Mapped[str] = mapped_column(Words)
    common_key: Mapped[str] = mapped_column(Words)
    kind: Mapped[str | None] = mapped_column(Words)
    body: Mapped[int | None] = mapped_column(KEY, ForeignKey("bodies.pk", name="fk_series_body"))
    readout: Mapped[int] = mapped_column(KEY, ForeignKey("readouts.pk", name="fk_series_readout"))
    exposure_us: Mapped[int | None] = mapped_column(Whole)
    night: Mapped[str | None] = mapped_column(Words)
    filter: Mapped[str | None] = mapped_column(Words)
    train: Mapped[int | None] = mapped_column(KEY, ForeignKey("trains.pk", name="fk_series_train"))
    target: Mapped[str | None] = mapped_column(Words)
    target_key: Mapped[str | None] = mapped_column(Words)
    count: Mapped[int] = mapped_column(Whole)
    retired_count: Mapped[int] = mapped_column(Whole)
    t_min: Mapped[int | None] = mapped_column(Whole)
    t_median: Mapped[float | None] = mapped_column(Real)
    t_max: Mapped[int | None] = mapped_column(Whole)
    t_unknown: Mapped[int] = mapped_column(Whole)
    first_at: Mapped[int | None] = mapped_column(Whole)
    last_at: Mapped[int | None] = mapped_column(Whole)
    exposure_sum_us: Mapped[int] = mapped_column(Whole)
    bytes: Mapped[int] = mapped_column(Whole)


class FrameRow(Base):
    """One frame: the outcome of all that is known of it. order_us: taken_at, or the greatest number where unknown.

    path is not unique: a file catalogued in place may be replaced by another and catalogued again.
    """

    __tablename__ = "frames"
    __table_args__ = (
        UniqueConstraint("sha256", name="uq_frames_sha256"),
        UniqueConstraint("id", name="uq_frames_id"),
        CheckConstraint(KINDS, name="ck_frames_kind"),
        CheckConstraint("kind_from IN ('user', 'header', 'path', 'pixels')", name="ck_frames_kind_from"),
        CheckConstraint(
            "temperature_from IN ('user', 'header', 'makernote', 'pixels')", name="ck_frames_temperature_from"
        ),
        CheckConstraint("size >= 0", name="ck_frames_size"),
        Index("ix_frames_path", "path"),
        # Holds all that a series' figures are made from.
        Index("ix_frames_series", "series", "retired", "temperature_c100", "taken_at", "exposure_us", "size"),
        Index("ix_frames_order", "order_us", "id"),
        Index("ix_frames_night", "night", "kind"),
        Index("ix_frames_body", "body", "kind", "order_us"),
        Index(
            "ix_frames_undecided",
            "order_us",
            "id",
            sqlite_where=text("kind IS NULL"),
        ),
        Index("ix_frames_in_place", "in_place", sqlite_where=text("in_place = 1")),
    )
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    sha256: Mapped[str] = mapped_column(Words)
    id: Mapped[str] = mapped_column(Words)
    size: Mapped[int] = mapped_column(Whole)
    path: Mapped[str] = mapped_column(Words)
    in_place: Mapped[bool] = _flag("ck_frames_in_place", default=False)
    source_path: Mapped[str] = mapped_column(Words)
    kind: Mapped[str | None] = mapped_column(Words)
    kind_from: Mapped[str | None] = mapped_column(Words)
    kind_confidence: Mapped[float] = mapped_column(Real)
    body: Mapped[int | None] = mapped_column(KEY, ForeignKey("bodies.pk", name="fk_frames_body"))
    readout: Mapped[int] = mapped_column(KEY, ForeignKey("readouts.pk", name="fk_frames_readout"))
    black_dn: Mapped[float | None] = mapped_column(Real)
    white_dn: Mapped[float | None] = mapped_column(Real)
    cfa_rows: Mapped[int | None] = mapped_column(Whole)
    cfa_columns: Mapped[int | None] = mapped_column(Whole)
    series: Mapped[int] = mapped_column(KEY, ForeignKey("series.pk", name="fk_frames_series"))
    exposure_us: Mapped[int | None] = mapped_column(Whole)
    temperature_c100: Mapped[int | None] = mapped_column(Whole)
    temperature_error_c100: Mapped[int | None] = mapped_column(Whole)
    temperature_from: Mapped[str | None] = mapped_column(Words)
    set_temperature_c100: Mapped[int | None] = mapped_column(Whole)
    filter: Mapped[str | None] = mapped_column(Words)
    train: Mapped[int | None] = mapped_column(KEY, ForeignKey("trains.pk", name="fk_frames_train"))
    target: Mapped[str | None] = mapped_column(Words)
    taken_at: Mapped[int | None] = mapped_column(Whole)
    order_us: Mapped[int] = mapped_column(Whole)
    time_from: Mapped[str | None] = mapped_column(Words)
    night: Mapped[str | None] = mapped_column(Words)
    combined: Mapped[Any] = mapped_column(Json, nullable=True)
    median_dn: Mapped[float | None] = mapped_column(Real)
    mad_dn: Mapped[float | None] = mapped_column(Real)
    saturated_fraction: Mapped[float | None] = mapped_column(Real)
    in_camera_subtraction: Mapped[bool | None] = _flag("ck_frames_in_camera_subtraction")
    rotator_deg: Mapped[float | None] = mapped_column(Real)
    focuser_position: Mapped[float | None] = mapped_column(Real)
    warnings: Mapped[Any] = mapped_column(Json, nullable=True)
    retired: Mapped[bool] = _flag("ck_frames_retired", default=False)
    run: Mapped[str] = mapped_column(Words)
    dark_ratio: Mapped[Any] = mapped_column(Json, nullable=True)


class RecordRow(Base):
    """All that is kept of a frame as read and decided, without its measurement: what its columns are made from.

    A table of its own, because it is by far the longest part of a frame and no list ever looks at it.
    """

    __tablename__ = "records"
    sha256: Mapped[str] = mapped_column(Words, ForeignKey("frames.sha256", name="fk_records_frame"), primary_key=True)
    facts: Mapped[Any] = mapped_column(JsonValue)


class MeasurementRow(Base):
    """What the pixels of a frame say, per version of the measurement; the newest version counts."""

    __tablename__ = "measurements"
    sha256: Mapped[str] = mapped_column(Words, primary_key=True)
    version: Mapped[int] = mapped_column(Whole, primary_key=True)
    figures: Mapped[Any] = mapped_column(JsonValue)


class SourceRecord(Base):
    """A place where a frame's content was seen, duplicates included."""

    __tablename__ = "sources"
    __table_args__ = (Index("ix_sources_sha256", "sha256"), Index("ix_sources_path", "source_path"))
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    sha256: Mapped[str] = mapped_column(Words)
    source_path: Mapped[str] = mapped_column(Words)
    modified: Mapped[int] = mapped_column(Whole)
    run: Mapped[str] = mapped_column(Words)


class StatementRecord(Base):
    """One thing the user stated of one frame; field `retired` is retiring and restoring.

    old: what was recorded before. undone_by: the run that took the statement back.
    """

    __tablename__ = "statements"
    __table_args__ = (
        UniqueConstraint("sha256", "statement", name="uq_statements_frame"),
        Index("ix_statements_statement", "statement"),
    )
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    sha256: Mapped[str] = mapped_column(Words)
    statement: Mapped[str] = mapped_column(Words)
    field: Mapped[str] = mapped_column(Words)
    value: Mapped[Any] = mapped_column(JsonValue)
    old: Mapped[Any] = mapped_column(JsonValue)
    note: Mapped[str] = mapped_column(Words)
    at: Mapped[int] = mapped_column(Whole)
    run: Mapped[str] = mapped_column(Words)
    undone_by: Mapped[str | None] = mapped_column(Words)


class SetAsideRecord(Base):
    """A file that could not be taken in. sha256 is "" where it could not even be read. settled: it was, in the end."""

    __tablename__ = "set_aside"
    __table_args__ = (Index("ix_set_aside_sha256", "sha256"), Index("ix_set_aside_source", "source_path"))
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    sha256: Mapped[str] = mapped_column(Words)
    source_path: Mapped[str] = mapped_column(Words)
    kept_path: Mapped[str] = mapped_column(Words)
    code: Mapped[str] = mapped_column(Words)
    text: Mapped[str] = mapped_column(Words)
    version: Mapped[str] = mapped_column(Words)
    run: Mapped[str] = mapped_column(Words)
    settled: Mapped[bool] = _flag("ck_set_aside_settled", default=False)


class CopyCheckedRecord(Base):
    """When a second copy was last found whole, a row a copy. frames: how many stored frames the library had then."""

    __tablename__ = "copies_checked"
    __table_args__ = (UniqueConstraint("copy", name="uq_copies_checked_copy"),)
    pk: Mapped[int] = mapped_column(KEY, primary_key=True)
    copy: Mapped[str] = mapped_column(Words)
    frames: Mapped[int] = mapped_column(Whole)
    at: Mapped[int] = mapped_column(Whole)
    run: Mapped[str] = mapped_column(Words)


class FindingRow(Base):
    """What many frames say of one thing: a sensor's model, a comparison of flats. The newest of each subject counts.

    Derived: no journal has it, a rebuild begins without, and it is made anew when the hash of what it was made from
    is another one.
    """

    __tablename__ = "findings"
    what: Mapped[str] = mapped_column(Words, primary_key=True)
    subject: Mapped[str] = mapped_column(Words, primary_key=True)
    inputs_hash: Mapped[str] = mapped_column(Words)
    version: Mapped[int] = mapped_column(Whole)
    result: Mapped[Any] = mapped_column(JsonValue)
    made_at: Mapped[int] = mapped_column(Whole)


class InferenceRow(Base):
    """What other frames say of one frame. Derived, like a finding; error: one sigma in the value's unit, or unknown."""

    __tablename__ = "inferences"
    __table_args__ = (Index("ix_inferences_what", "what", "sha256"),)
    sha256: Mapped[str] = mapped_column(Words, primary_key=True)
    what: Mapped[str] = mapped_column(Words, primary_key=True)
    value: Mapped[Any] = mapped_column(JsonValue)
    error: Mapped[float | None] = mapped_column(Real)
    inputs_hash: Mapped[str] = mapped_column(Words)
    version: Mapped[int] = mapped_column(Whole)


def table(model: type[Base]) -> Table:
    """The plain table of a model: hot paths select columns and build no row objects."""
    return cast("Table", model.__table__)


ABOUT, RUNS, BODIES, BODY_CHANGES = table(AboutRow), table(RunRecord), table(BodyRecord), table(BodyChangeRecord)
READOUTS, TRAINS, TRAIN_CHANGES, SERIES = (
    table(ReadoutRecord),
    table(TrainRecord),
    table(TrainChangeRecord),
    table(SeriesRecord),
)
FRAMES, RECORDS, MEASUREMENTS = table(FrameRow), table(RecordRow), table(MeasurementRow)
SOURCES, STATEMENTS, SET_ASIDE = table(SourceRecord), table(StatementRecord), table(SetAsideRecord)
COPIES_CHECKED = table(CopyCheckedRecord)
FINDINGS, INFERENCES = table(FindingRow), table(InferenceRow)

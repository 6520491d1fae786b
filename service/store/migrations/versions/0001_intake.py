"""Passes, generations, exports, intake, refusals, touched days and points seen."""

import sqlalchemy as sa
from alembic import op

from service.store.tables import UtcTime

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of the intake."""
    op.create_table(
        "exports",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("point_name", sa.Text(), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("modified_us", sa.BigInteger(), nullable=False),
        sa.Column("kept_at", UtcTime(), nullable=False),
        sa.Column("source_settings", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_exports")),
        sa.UniqueConstraint(
            "sha256", "source", "point_name", name=op.f("uq_exports_sha256_source_point_name")
        ),
    )
    op.create_table(
        "generations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("folder", sa.String(length=80), nullable=False),
        sa.Column("settings_digest", sa.String(length=64), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("begun", UtcTime(), nullable=False),
        sa.CheckConstraint("state in ('building', 'current', 'retired')", name=op.f("ck_generations_state")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_generations")),
        sa.UniqueConstraint("folder", name=op.f("uq_generations_folder")),
    )
    op.create_table(
        "passes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("marker", sa.String(length=64), nullable=False),
        sa.Column("generation_id", sa.Integer(), nullable=False),
        sa.Column("settings_digest", sa.String(length=64), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("has_readings", sa.Boolean(), nullable=False),
        sa.Column("started", UtcTime(), nullable=False),
        sa.Column("finished", UtcTime(), nullable=True),
        sa.CheckConstraint("state in ('intended', 'done')", name=op.f("ck_passes_state")),
        sa.ForeignKeyConstraint(
            ["generation_id"],
            ["generations.id"],
            name=op.f("fk_passes_generation_id_generations"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_passes")),
        sa.UniqueConstraint("marker", name=op.f("uq_passes_marker")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "intake",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pass_id", sa.Integer(), nullable=False),
        sa.Column("export_id", sa.Integer(), nullable=True),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("pulled_at", UtcTime(), nullable=False),
        sa.Column("rows_read", sa.BigInteger(), nullable=False),
        sa.Column("stored", sa.BigInteger(), nullable=False),
        sa.Column("identical", sa.BigInteger(), nullable=False),
        sa.Column("superseded", sa.BigInteger(), nullable=False),
        sa.Column("refused", sa.BigInteger(), nullable=False),
        sa.Column("missing", sa.BigInteger(), nullable=False),
        sa.Column("unmapped", sa.BigInteger(), nullable=False),
        sa.Column("cells", sa.BigInteger(), nullable=False),
        sa.Column("decided", sa.Text(), nullable=False),
        sa.Column("is_named_by_file", sa.Boolean(), nullable=False),
        sa.Column("source_digest", sa.String(length=64), nullable=False),
        sa.Column("ranked_us", sa.BigInteger(), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=True),
        sa.Column("newest_us", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("cells = rows_read + missing + unmapped", name=op.f("ck_intake_cells")),
        sa.CheckConstraint(
            "rows_read = stored + identical + superseded + refused", name=op.f("ck_intake_rows_read")
        ),
        sa.ForeignKeyConstraint(["export_id"], ["exports.id"], name=op.f("fk_intake_export_id_exports")),
        sa.ForeignKeyConstraint(
            ["pass_id"], ["passes.id"], name=op.f("fk_intake_pass_id_passes"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_intake")),
    )
    op.create_index(op.f("ix_intake_export_id"), "intake", ["export_id"], unique=False)
    op.create_index(op.f("ix_intake_pass_id"), "intake", ["pass_id"], unique=False)
    op.create_table(
        "points_seen",
        sa.Column("pass_id", sa.Integer(), nullable=False),
        sa.Column("export_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=True),
        sa.Column("last_us", sa.BigInteger(), nullable=True),
        sa.Column("cells", sa.BigInteger(), nullable=False),
        sa.Column("example", sa.Text(), nullable=False),
        sa.Column("low", sa.Float(), nullable=True),
        sa.Column("high", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(["export_id"], ["exports.id"], name=op.f("fk_points_seen_export_id_exports")),
        sa.ForeignKeyConstraint(
            ["pass_id"], ["passes.id"], name=op.f("fk_points_seen_pass_id_passes"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pass_id", "export_id", "name", name=op.f("pk_points_seen")),
    )
    op.create_table(
        "refusals",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pass_id", sa.Integer(), nullable=False),
        sa.Column("export_id", sa.Integer(), nullable=False),
        sa.Column("row", sa.BigInteger(), nullable=False),
        sa.Column("column", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("cells", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["export_id"], ["exports.id"], name=op.f("fk_refusals_export_id_exports")),
        sa.ForeignKeyConstraint(
            ["pass_id"], ["passes.id"], name=op.f("fk_refusals_pass_id_passes"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_refusals")),
    )
    op.create_index(op.f("ix_refusals_pass_id"), "refusals", ["pass_id"], unique=False)
    op.create_table(
        "touched_days",
        sa.Column("pass_id", sa.Integer(), nullable=False),
        sa.Column("fan", sa.Text(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(
            ["pass_id"], ["passes.id"], name=op.f("fk_touched_days_pass_id_passes"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pass_id", "fan", "date", name=op.f("pk_touched_days")),
    )


def downgrade() -> None:
    """Drop the tables of the intake."""
    op.drop_table("touched_days")
    op.drop_index(op.f("ix_refusals_pass_id"), table_name="refusals")
    op.drop_table("refusals")
    op.drop_table("points_seen")
    op.drop_index(op.f("ix_intake_pass_id"), table_name="intake")
    op.drop_index(op.f("ix_intake_export_id"), table_name="intake")
    op.drop_table("intake")
    op.drop_table("passes")
    op.drop_table("generations")
    op.drop_table("exports")

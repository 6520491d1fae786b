"""What every table of site.toml, and every row of the other files, has in common."""

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """A frozen table of the site's files that knows every key it may hold."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, hide_input_in_errors=True)

    @classmethod
    def names(cls) -> tuple[str, ...]:
        """Return the names of its keys as they are written."""
        return tuple(field.alias or name for name, field in cls.model_fields.items())

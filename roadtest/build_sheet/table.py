"""What every table of a build sheet has in common: nothing loose, nothing unknown."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, ValidationError


class Table(BaseModel):
    """A table of the file: unknown keys and values of another type are faults."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class NestedFaultsError(ValueError):
    """Faults of a table read on its own, to be reported below the key that holds it."""

    def __init__(self, table: type[Table], error: ValidationError) -> None:
        self.table, self.error = table, error
        super().__init__(f"faults in {table.__name__}")

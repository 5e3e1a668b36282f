"""What can go wrong with what a user gives us. Each message is one line a technician can act on."""


class RoadtestError(Exception):
    """Base of all errors that `roadtest` raises on purpose."""


class InputError(RoadtestError):
    """Input that can't be used.

    Parameters
    ----------
    file : name of the file, as the user knows it
    place : where in the file (a line, a key), or "" for the file as a whole
    found : what was found there
    expected : what was expected instead
    """

    def __init__(self, file: str, place: str, found: str, expected: str) -> None:
        self.file, self.place, self.found, self.expected = file, place, found, expected
        where = f"{file}, {place}" if place else file
        text = f"{where}: {found}; expected {expected}" if expected else f"{where}: {found}"
        # What comes from a file may hold line breaks or control characters; a message is one line.
        super().__init__("".join(c if c.isprintable() else " " for c in text))

    def __reduce__(self) -> tuple[object, ...]:
        """Return what makes it again in another process."""
        return type(self), (self.file, self.place, self.found, self.expected)


class NoBuildSheetError(InputError):
    """A drive without a build sheet."""


class InputErrors(RoadtestError):  # noqa: N818 - several errors
    """Several faults of one file, all reported at once, a line each."""

    def __init__(self, faults: tuple[InputError, ...]) -> None:
        self.faults = faults
        super().__init__("\n".join(str(fault) for fault in faults))

    def __reduce__(self) -> tuple[object, ...]:
        """Return what makes it again in another process."""
        return type(self), (self.faults,)

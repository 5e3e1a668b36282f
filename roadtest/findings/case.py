"""What findings are drawn from, and the sentences they share."""

from __future__ import annotations

from dataclasses import dataclass

from roadtest.build_sheet import BuildSheet
from roadtest.quantity import Quantity
from roadtest.results import LogInfo, Results
from roadtest.wording import in_read_unit, number_text, quantity_text, rounded, sentence


@dataclass(frozen=True)
class Doubt:
    """What to put right in the drive's files before all else, for figures rest on it."""

    said: str
    about: str = ""  # the target that is judged on them, "" where it is not one


@dataclass(frozen=True)
class Case:
    """What was measured, and what the build sheet asks for."""

    results: Results
    sheet: BuildSheet
    doubts: tuple[Doubt, ...] = ()
    left_open: frozenset[str] = frozenset()
    """The remarks that say what engine and road speed can't tell apart: they are steps."""

    @property
    def speed_log(self) -> LogInfo | None:
        """The log that the speed came from (the first file of it)."""
        return next((log for log in self.results.logs if log.speed_source is not None), None)

    @property
    def rate_hz(self) -> float | None:
        """Rate of that log."""
        return self.speed_log.rate_hz if self.speed_log else None

    @property
    def has_tach(self) -> bool:
        """Whether any engine speed was logged."""
        return any(log.kind == "tach" for log in self.results.logs)

    def say(self, figure: Quantity, *, percent: bool = False, signed: bool = False) -> str:
        """Return a figure with its interval, in the build sheet's unit."""
        return quantity_text(figure, self.sheet.units, percent=percent, signed=signed)

    def say_value(self, value: float, unit: str, *, percent: bool = False) -> str:
        """Return a plain value, in the build sheet's unit."""
        if percent and unit == "1":
            return f"{number_text(100.0 * value, 3)} %"
        read = in_read_unit(Quantity(value, 0.0, unit), self.sheet.units)
        return f"{number_text(read.value, 3)} {read.unit}".rstrip()

    def say_like(self, value: float, like: Quantity, *, percent: bool = False) -> str:
        """Return a plain value with as many decimals as the figure `like` is shown with."""
        if percent and like.unit == "1":
            read = Quantity(100.0 * value, 100.0 * like.u95, "%")
        else:
            read = in_read_unit(Quantity(value, like.u95, like.unit), self.sheet.units)
        return f"{rounded(read.value, read.u95)[0]} {read.unit}".rstrip()

    def remark(self, section: str) -> str:
        """Return what the measure of a section noticed, as text to add to a reason."""
        return joined(*(said.text for said in self.results.remarks if said.section == section))


def basis_text(basis: object, remarks: tuple[str, ...] = ()) -> str:
    """Return where a limit comes from, and what the rule's module remarks on it."""
    return joined(str(basis), *remarks) if remarks else str(basis)


def joined(*parts: str) -> str:
    """Return the sentences that say something, one after the other."""
    return " ".join(part for part in (sentence(part) for part in parts) if part)

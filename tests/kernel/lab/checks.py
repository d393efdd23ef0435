"""Collects the verdicts of one scene; nothing stops at the first failure."""

from collections.abc import Callable
from dataclasses import dataclass, field

# Characters of what was found instead; the rest is in the records.
LONGEST_NOTE = 1000


@dataclass
class Checks:
    """Verdicts in the order in which they were given."""

    scene: str
    verdicts: list[tuple[str, bool, str]] = field(default_factory=list)

    def that(self, name: str, holds: bool, otherwise: str = "") -> None:
        """One check; `otherwise` says what was found instead."""
        shown = otherwise if len(otherwise) <= LONGEST_NOTE else otherwise[:LONGEST_NOTE] + " ..."
        self.verdicts.append((name, bool(holds), "" if holds else shown))

    def equal(self, name: str, got: object, wanted: object) -> None:
        """One check for equality; lists are compared place by place."""
        if isinstance(got, list) and isinstance(wanted, list) and got != wanted:
            places = (n for n, (a, b) in enumerate(zip(got, wanted)) if a != b)
            at = next(places, min(len(got), len(wanted)))
            note = f"{len(got)} values, wanted {len(wanted)}; differ at {at}: {got[at:at + 5]}, wanted {wanted[at:at + 5]}"
            self.that(name, False, note)
        else:
            self.that(name, got == wanted, f"got {got!r}, wanted {wanted!r}")

    def guard(self, work: Callable[["Checks"], None]) -> None:
        """Runs a judge; a record that can't even be read is a failed check, not an end of the run."""
        try:
            work(self)
        except Exception as trouble:  # noqa: BLE001
            self.that("the records can be judged", False, f"{type(trouble).__name__}: {trouble}")

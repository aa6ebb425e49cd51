"""One key of the job file: what it may hold, and what to say of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

UNFILLED = "?"  # stands in a drafted job file where a person must write a value
BIGGEST, SMALLEST = 5000.0, 1.0  # mm, of a blank: beyond these a unit or a decimal point is wrong


@dataclass(frozen=True, slots=True)
class Key:
    """One key of the job file.

    kind: "table", "tables" (a list of tables), "numbered tables", "text", "texts" (a list), "choice",
        "path", "paths", "flag" (true or false), "count" (a whole number), "number", "length", "lengths",
        "numbers" (lists of `size`, 0: of one or more), "points" (a list of lists of `size` lengths), "named
        lengths" (a table of names from `choices`, each with a list of `size` lengths).
    default: as it is written in the file, None when the key is required or has none.
    low, high: range of the number, mm for lengths.
    per: what the lengths are counted by, " a minute", where they are speeds or accelerations.
    noun: what the file of a path, or one of a list of "points", is.
    examples: TOML text for the template, one for each of the tables it shows.
    is_aside: the template shows it behind a #.
    """

    path: str
    kind: str
    help: str
    required: bool = False
    default: Any = None
    choices: tuple[str, ...] = ()
    low: float = 0.0
    high: float = 0.0
    size: int = 0
    per: str = ""
    noun: str = ""
    examples: tuple[str, ...] = ()
    is_aside: bool = False

    @property
    def name(self) -> str:
        """The key's own name: "length" of "blank.length"."""
        return self.path.split(".")[-1].removesuffix("[]")

    @property
    def parent(self) -> str:
        """The path of the table that holds the key: "setups[]" of "setups[].turn", "" at the top."""
        return self.path.rpartition(".")[0]

    @property
    def inside(self) -> str:
        """The path that the keys of this table have as their parent."""
        return {"tables": f"{self.path}[]", "numbered tables": f"{self.path}.N"}.get(self.kind, self.path)

    @property
    def expected(self) -> str:
        """What a value must be, in words that follow "expected"."""
        low, high = f"{self.low:g}", f"{self.high:g}"
        if self.kind == "table" and self.examples:
            return f"a table such as {self.examples[0]}"
        if self.kind == "choice":
            return "one of " + ", ".join(f"'{choice}'" for choice in self.choices)
        return {
            "length": f"a length{self.per} from {low} mm to {high} mm",
            "lengths": f"a list of {self.size or 'one or more'} lengths{self.per} from {low} mm to {high} mm",
            "points": f"a list of {self.noun or 'place'}s, each a list of {self.size} lengths"
            f" from {low} mm to {high} mm",
            "number": f"a number from {low} to {high}",
            "numbers": f"a list of {self.size} numbers from {low} to {high}",
            "count": f"a whole number from {low} to {high}",
            "text": "text on one line",
            "texts": "a list of texts",
            "flag": "true or false",
            "named lengths": f"a table of names, each with {self.size} lengths from {low} mm to {high} mm",
            "path": f"the path of {self.noun}",
            "paths": f"a list of paths, each of {self.noun}",
            "table": f"a table [{self.name}]",
            "tables": f"a list of tables, each under [[{self.name}]]",
            "numbered tables": f"tables by tool number, such as [{self.name}.1]",
        }[self.kind]

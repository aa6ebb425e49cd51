"""A parser of command lines that reports misuse like every other unusable input."""

from __future__ import annotations

import argparse
import re

from simkit.errors import InputProblems, Place, Problem, nearest_word


class Parser(argparse.ArgumentParser):
    """A parser that reports misuse like every other unusable input, and takes lengths below zero."""

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        # What looks like a number below zero is no option; here it may have a unit: -0.02in, "-1/64 in".
        self._negative_number_matcher = re.compile(r"^-\.?\d")

    def error(self, message: str):
        """Raise what is wrong with the words as a problem with a remedy."""
        found, expected, remedy = message, "words simkit knows", f"see {self.prog} --help"
        if message.startswith("unrecognized arguments: "):
            raise InputProblems(self._left_over(message.split(": ", 1)[1].split()))
        if message.startswith("argument --") and "invalid choice: " in message:
            option = message.split()[1].rstrip(":")
            word = message.split("invalid choice: ", 1)[1].split("'")[1]
            choices = next(a.choices for a in self._actions if option in a.option_strings)
            found, expected = f"'{word}' behind {option}", f"one of {', '.join(choices)}"
            remedy = f"write {' or '.join(f'{option} {choice}' for choice in choices)}"
        elif "invalid choice: " in message:
            word = message.split("invalid choice: ", 1)[1].split("'")[1]
            known = self.commands() or next(a.choices for a in self._actions if a.choices)
            what = "a command" if self.commands() else "one of these"
            found, expected = f"'{word}'", f"{what} ({', '.join(known)})"
            near = nearest_word(word, known)
            remedy = f"did you mean {near}? {remedy}" if near else remedy
        raise InputProblems(Problem(Place("command line"), found, expected, remedy))

    def _left_over(self, words: list[str]) -> Problem:
        """Return what is wrong with words that no command took; called on the parser of all commands."""
        word = next((word for word in words if word.startswith("-")), words[0])
        name = word.split("=", 1)[0]
        place = Place("command line")
        if not word.startswith("-"):
            # `check` takes several, but not with options between them.
            expected = "one program behind simkit read, and those of simkit check side by side"
            remedy = (
                "run simkit read once for each program; for simkit check write the options behind them all"
            )
            return Problem(place, f"'{word}', one file too many here", expected, remedy)
        # Only `read` and `template` refuse an option that another command has.
        takers = [command for command in self.commands() if name in self._options_of(command)]
        if takers:
            command = takers[0]
            remedy = f"leave it out, or run simkit {command} (see simkit {command} --help)"
            return Problem(
                place, f"'{name}'", f"an option of this command; {name} is one of {command}", remedy
            )
        near = nearest_word(name, self.all_options())
        remedy = f"did you mean {near}? see {self.prog} --help" if near else f"see {self.prog} --help"
        return Problem(place, f"'{word}'", "an option simkit knows", remedy)

    def _options_of(self, command: str) -> list[str]:
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction):
                return action.choices[command].all_options()
        return []

    def commands(self) -> list[str]:
        """Return the names of this parser's commands."""
        return [
            name
            for action in self._actions
            if isinstance(action, argparse._SubParsersAction)
            for name in action.choices
        ]

    def all_options(self) -> list[str]:
        """Return the options of this parser and of its commands."""
        options = [option for action in self._actions for option in action.option_strings]
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction):
                for parser in action.choices.values():
                    options += parser.all_options()
        return options

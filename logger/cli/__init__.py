"""The commands. An error becomes one line and an exit status: 0 done, 2 something given is wrong, 1 our fault.

Each command is a module of this package (of its name, or of that in `_MODULES`) with `describe(parser)` and
`run(arguments)`; whatever takes long to import is imported inside `run`, so that `boatrun --help` answers at once.
"""

from __future__ import annotations

import argparse
import errno
import io
import os
import sys
import tempfile
import traceback
from collections.abc import Sequence
from difflib import get_close_matches
from importlib import import_module
from typing import NoReturn

from logger import __version__
from logger.errors import LoggerError

DONE, OUR_FAULT, WRONG_INPUT, STOPPED = 0, 1, 2, 130
"""Exit statuses; 130 is what a shell expects of a program stopped by Ctrl-C."""

_PLACES_FAULT = {errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EACCES, errno.EPERM, errno.ENOTDIR, errno.ENAMETOOLONG}
"""A full or forbidden place was given: not a fault of the program."""

COMMANDS = {
    "demo": "try everything without any hardware: an invented class in a simulated tank, and its report",
    "plan": "where to hang camera and beams, from lens and tank",
    "check": "is the rig fit to run? each fault with its cure",
    "record": "record runs with a rig, live, and show what came out",
    "measure": "measure recordings, or measure them again",
    "calibrate": "measure what the rig has to know about itself, step by step",
    "serve": "show the rig's pages in a browser: calibration led step by step",
    "boat": "make or change a boat's card: sizes, mass, tag, each with the doubt of its reading",
    "print": "sheets to print at true scale: tags for boats, targets to calibrate with",
    "simulate": "write recordings of a simulated tank, with the truth beside them",
    "study": "make pages to study a class from: a folder or a zip for any browser, without a network",
    "export": "write tables for spreadsheets and statistics",
    "experiment": "plan an experiment, draw the running order, and say what its runs came to",
    "film": "make films of the recorded pictures, for other programs",
}
_MODULES = {"print": "printing"}
"""Commands whose module cannot have their name: it would stand here in the place of Python's own word."""


class Parser(argparse.ArgumentParser):
    """Says what is wrong in one line and guesses what was meant."""

    def error(self, message: str) -> NoReturn:
        """Print one line to stderr and leave with status 2."""
        self.exit(WRONG_INPUT, f"{self.prog}: {message}; see {self.prog} --help\n")

    def refuse_unknown(self, words: Sequence[str]) -> None:
        """Leave with status 2 if there are `words` that no option or argument took."""
        if not words:
            return
        known = [
            option
            for parser in (self, *self._inner())
            for action in parser._actions
            for option in action.option_strings
        ]
        self.error(f"there is no option {words[0]!r}{_did_you_mean(words[0].partition('=')[0], known)}")

    def _inner(self) -> list[argparse.ArgumentParser]:
        """The parsers of this one's own commands, such as those of `boatrun calibrate`."""
        choices = (
            choice for action in self._actions if isinstance(action.choices, dict) for choice in action.choices.values()
        )
        return [choice for choice in choices if isinstance(choice, argparse.ArgumentParser)]


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    words = list(sys.argv[1:] if argv is None else argv)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # a terminal without ± is no reason to lose a result
    try:
        status = _run(words)
        sys.stdout.flush()  # what cannot be written is told here, not by the interpreter on its way out
        return status
    except KeyboardInterrupt:
        _say("boatrun: stopped; what was finished before is kept")
        return STOPPED
    except BrokenPipeError:
        _give_up_stdout()  # who reads it has closed it (| head)
        return DONE
    except LoggerError as error:
        _say(f"boatrun: {_one_line(error)}")
        return WRONG_INPUT
    except OSError as error:
        if error.errno not in _PLACES_FAULT:
            _say(our_fault(error))
            return OUR_FAULT
        _give_up_stdout()
        _say(
            f"boatrun: {error.filename or 'output'}: cannot be used ({error.strerror}); free it or choose another place"
        )
        return WRONG_INPUT
    except Exception as error:
        _say(our_fault(error))
        return OUR_FAULT


def _give_up_stdout() -> None:
    """What is still unwritten goes nowhere, so that Python does not complain again while it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def our_fault(error: Exception) -> str:
    """One line that says what failed and where the details are (they are written to a file)."""
    with tempfile.NamedTemporaryFile("w", prefix="boatrun-fault-", suffix=".txt", delete=False) as details:
        details.write(f"boatrun {__version__}, Python {sys.version}\n")
        details.write("".join(traceback.format_exception(error)))
    what = f"{type(error).__name__}: {_one_line(error)}"
    return f"boatrun: this is a fault of the program, not yours ({what}); details for a report: {details.name}"


def _run(words: list[str]) -> int:
    top = _top_parser()
    if not words:
        top.print_help()
        return DONE
    if not words[0].startswith("-") and words[0] not in COMMANDS:
        top.error(f"there is no command {words[0]!r}{_did_you_mean(words[0], list(COMMANDS))}")
    if words[0] not in COMMANDS:
        top.refuse_unknown(top.parse_known_args(words)[1] or words[:1])
    for library in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        # before NumPy is loaded: our matrices are small, and the order of a sum must not depend on the machine's cores
        os.environ.setdefault(library, "1")
    command = import_module(f"logger.cli.{_MODULES.get(words[0], words[0])}")
    parser = Parser(prog=f"boatrun {words[0]}", description=command.__doc__, allow_abbrev=False)
    command.describe(parser)
    arguments, rest = parser.parse_known_args(words[1:])
    parser.refuse_unknown(rest)
    return int(command.run(arguments))


def _top_parser() -> Parser:
    lines = "\n".join(f"  {name:<11}{what}" for name, what in COMMANDS.items())
    parser = Parser(
        prog="boatrun",
        usage="boatrun COMMAND ...",
        description="Measure small model-boat runs: times, speeds, drift and path, each with its uncertainty.",
        epilog=f"commands:\n{lines}\n\nboatrun COMMAND --help tells more of each.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"boatrun {__version__}")
    return parser


def _did_you_mean(word: str, known: Sequence[str]) -> str:
    near = get_close_matches(word, known, n=1, cutoff=0.5)
    return f"; did you mean {near[0]!r}?" if near else f"; there are {', '.join(known)}"


def _one_line(error: BaseException) -> str:
    return " ".join(str(error).split())


def _say(line: str) -> None:
    print(line, file=sys.stderr)

"""The command line: exact, scriptable, one sentence for what goes wrong.

Exit codes: 0 done; 1 an unexpected fault (one sentence and a log file); 2 refused, usage errors
too (one sentence on stderr, nothing stored); 3 answers needed (all questions at once).
"""

from __future__ import annotations

import datetime as dt
import os
import sys
import tempfile
import traceback
from collections.abc import Sequence
from pathlib import Path

from waterbudget import english
from waterbudget.cli import output
from waterbudget.cli.parser import Usage, parse
from waterbudget.errors import AnswersNeeded, WaterBudgetError

__all__ = ["main"]


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; never a traceback."""
    words = list(sys.argv[1:] if argv is None else argv)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    for name in ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA"):
        os.environ.pop(name, None)
    as_json = "--json" in words
    try:
        options = parse(words)
        if options is None:
            return 0
        return int(options.run(options))
    except Usage as fault:
        print(fault, file=sys.stderr)
        return 2
    except AnswersNeeded as asked:
        output.questions(asked, as_json)
        return 3
    except WaterBudgetError as fault:
        print(english.sentence(fault), file=sys.stderr)
        return 2
    except BrokenPipeError:
        sys.stdout = open(os.devnull, "w")  # noqa: PTH123, SIM115 - keeps exit quiet
        return 0
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 1
    except Exception as fault:  # the last door: nobody is shown a traceback
        log = write_log(fault)
        print(f"Something unexpected went wrong; what is known stands in {log}.", file=sys.stderr)
        return 1


def write_log(fault: BaseException) -> Path:
    """Write an unexpected fault to a log file and return its path."""
    stamp = dt.datetime.now().strftime("%Y%m%d-%H%M%S")
    path = Path(tempfile.gettempdir()) / f"waterbudget-{stamp}-{os.getpid()}.log"
    lines = traceback.format_exception(type(fault), fault, fault.__traceback__)
    path.write_text("".join(lines), encoding="utf-8")
    return path

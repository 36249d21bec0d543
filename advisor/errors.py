"""What went wrong, where, and what to do about it, in one line a user can act on."""

from __future__ import annotations

# What the program is called where packages are had from; `advisor` there is a stranger's.
DISTRIBUTION = "advisor-surface-finishing"
# A line is shown no longer than this, without the middle: files may hold, and libraries quote, words of any length.
_MOST_LETTERS = 1000


def install_extra(extra: str) -> str:
    """The command that brings an optional extra.

    >>> install_extra("pdf")
    "pip install 'advisor-surface-finishing[pdf]'"
    """
    return f"pip install '{DISTRIBUTION}[{extra}]'"


class InputError(Exception):
    """Unusable input or settings: the fault lies in what was given, and the message says the remedy.

    Parameters
    ----------
    subject : str
        The file, key or option at fault.
    problem : str
        What is wrong with it.
    remedy : str
        What the user can do.
    """

    def __init__(self, subject: str, problem: str, remedy: str) -> None:
        super().__init__(subject, problem, remedy)
        self.subject = subject
        self.problem = problem
        self.remedy = remedy

    def __str__(self) -> str:
        line = f"{self.subject}: {self.problem}; {self.remedy}"
        line = " ".join(line.split())
        # what damaged files hold must not steer the terminal that it is told on
        line = "".join(c if c.isprintable() else c.encode("unicode_escape", "surrogatepass").decode() for c in line)
        half = _MOST_LETTERS // 2
        return line if len(line) <= _MOST_LETTERS else f"{line[:half]} ... {line[-half:]}"


def needs_extra(subject: str, package: str, extra: str, instead: str = "") -> InputError:
    """The fault of asking for what an optional extra brings where it is not there.

    >>> print(needs_extra("--pdf", "typst", "pdf"))
    --pdf: needs typst, not installed here; install it with: pip install 'advisor-surface-finishing[pdf]'
    """
    remedy = f"install it with: {install_extra(extra)}{instead}"
    return InputError(subject, f"needs {package}, not installed here", remedy)


class MissingSystemLibraryError(InputError):
    """Something outside Python is missing on this machine; the remedy names the system package."""

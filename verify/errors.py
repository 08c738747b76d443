"""Every error that a user can cause, each with its exit status."""

from __future__ import annotations


class FewwireError(Exception):
    """Base: one clear message, no traceback, ``exit_code``."""

    exit_code = 2


class LinkFileError(FewwireError):
    """A link file says something that it may not.

    ``path`` names the file, ``key`` the place (dotted), ``found`` what stood there,
    ``allowed`` what may stand there.
    """

    def __init__(self, path: str, key: str, found: str, allowed: str) -> None:
        super().__init__(path, key, found, allowed)
        self.path, self.key, self.found, self.allowed = path, key, found, allowed

    def __str__(self) -> str:
        place = f"{self.path}: {self.key}" if self.key else self.path
        return f"{place}: found {self.found}; allowed: {self.allowed}"


class ModelError(FewwireError):
    """A machine or system is put together wrongly; for scheme authors."""


class UsageError(FewwireError):
    """The question makes no sense for this link, or an option is wrong."""


class DisagreementError(FewwireError):
    """Two engines contradict each other: a bug in fewwire, with the evidence."""

    exit_code = 4

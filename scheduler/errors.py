"""The exception tree.

Every message says what is wrong, where, what was found, what is allowed and what to do next,
in one line. The command line prints it and exits with status 2; any other exception is a bug.
"""

from __future__ import annotations

from collections.abc import Mapping


class WhitethreadError(Exception):
    """Anything a user can mend: the message is one line, ready to print."""


class FarmFileError(WhitethreadError):
    """`farm.toml` cannot be used as it stands; `faults` holds one line for each fault."""

    def __init__(self, faults: tuple[str, ...]) -> None:
        self.faults = faults
        super().__init__("; ".join(faults))


class JournalError(WhitethreadError):
    """An entry, an export or the database of the farm cannot be used as it stands."""


class WeatherFileError(WhitethreadError):
    """A weather file cannot be read as it stands."""


class WeatherFetchError(WhitethreadError):
    """Weather could not be fetched and no copy is held; `status` is the answer's, if one came."""

    def __init__(self, message: str, status: int | None = None) -> None:
        self.status = status
        super().__init__(message)


class WeatherMissingError(WhitethreadError):
    """There is not enough weather to answer the question."""


class MailSettingsError(WhitethreadError):
    """The mail cannot be sent as the farm file and its secrets stand: nothing to try again."""


class MailLoginError(MailSettingsError):
    """The mail server refuses user and password: asking again with the same ones is no use."""


class MailPostponedError(WhitethreadError):
    """The mail server could not be reached or asked for another try later.

    `refused` holds the recipients it had refused for good before that, with its words.
    """

    def __init__(self, message: str, refused: Mapping[str, str] | None = None) -> None:
        self.refused = dict(refused or {})
        super().__init__(message)


class MailRefusedError(WhitethreadError):
    """The mail server refused the mail for good: the same mail is not tried again."""


class ParameterTableError(WhitethreadError):
    """A parameter table of the program breaks its own rules."""


class UsageError(WhitethreadError):
    """A command was called with something it cannot act on."""


class RangeError(WhitethreadError, ValueError):
    """An argument of a model lies outside the range the model can compute."""

"""The one error that a client is told as it stands."""


class WrongUse(ValueError):
    """The request cannot be done; the message says why and what would do."""

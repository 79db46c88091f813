"""The one error that a client is told as it stands."""


class InvalidRequest(ValueError):
    """The request cannot be done; the message says why and what would do."""

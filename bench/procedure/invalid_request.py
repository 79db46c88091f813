"""The error of a request that cannot be done; its text is sent to the client."""


class InvalidRequest(ValueError):
    """The request cannot be done; the message says why and what would do."""

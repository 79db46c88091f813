"""Parts that several checks share."""

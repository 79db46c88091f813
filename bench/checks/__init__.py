"""One file per check; `CHECKS` is the table of them by kind."""

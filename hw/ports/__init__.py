"""What an instrument is wired to: serial bytes, polled registers, typed keys, pins; all with one face."""

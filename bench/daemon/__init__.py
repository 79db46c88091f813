"""The daemon: reads instruments, takes checks, keeps the log and answers clients."""

"""The daemon: instruments to stream (feed), stream to sweeps (sweeper, still), life and
socket (service)."""

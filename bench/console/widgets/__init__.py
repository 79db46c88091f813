"""The widgets of the console, one in a file."""
